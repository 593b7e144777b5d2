//! A farm's stock as the fold of its synced ledger has it, and what it is told of the others' losses.

use spareloop_api::stock::{NetworkSummaryView, StockView};
use spareloop_store::{farm_beliefs, farm_book, network_summaries, offers};

use crate::auth::caller::Grower;
use crate::error::ServerError;
use crate::house::House;
use crate::views::stock::{self as views, Rules};

/// The farm's stock, with what is promised taken out of what is spare.
pub async fn stock(house: &House, grower: Grower) -> Result<StockView, ServerError> {
    let (now, today) = (house.now(), house.today()?);
    let (book, rules) = house
        .read(move |tx| {
            let book = farm_book(tx, grower.farm)?;
            let rules = Rules::believing(farm_beliefs(tx, grower.farm, &book)?);
            let promised = offers::promised_by_lot(tx, grower.farm, now)?;
            Ok((book, Rules { promised, ..rules }))
        })
        .await?;
    // Reckoning takes a while on a large book, and holds no transaction.
    house.off_thread(move |_| Ok(views::stock(&book, today, &rules))).await
}

/// What the farm is told of what all the others of its network saw.
pub async fn network_summary(
    house: &House,
    grower: Grower,
) -> Result<NetworkSummaryView, ServerError> {
    let told = house.read(move |tx| network_summaries::told_to(tx, grower.farm)).await?;
    let (mark, summary) = told.map(|told| (told.mark, told.summary)).unzip();
    Ok(NetworkSummaryView { mark, summary })
}
