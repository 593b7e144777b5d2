//! The farms of a network with the real programs, mostly on both databases: apart and in step, from an
//! offer to the shelf of whoever takes it, and what they are told meanwhile.
#![allow(unreachable_pub, clippy::unwrap_used, clippy::expect_used)]

mod a_loss_after_holds;
mod a_quiet_sync;
mod between_regions;
mod claims;
mod devices_apart;
mod held_by_sixteen;
mod interface;
mod on_paper;
mod parcels;
mod rounds_and_swap_days;
mod sales_and_gifts;
mod secured;
mod several_devices;
mod signed_statements;
mod telling;
mod the_demo;
mod the_job;
mod the_server_is_away;
mod valley;
mod values_offline;
mod what_the_network_saw;
mod what_the_server_refuses;
