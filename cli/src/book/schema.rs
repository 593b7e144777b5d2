//! The tables of `migrations/ledger`, as diesel sees them.

use diesel::{allow_tables_to_appear_in_same_query, table};

table! {
    farm (one) { one -> Integer, id -> Text, name -> Text, service_level -> Double, planting -> Nullable<Text>, }
}
table! {
    devices (id) { id -> Text, name -> Text, made_at -> BigInt, sent_seq -> BigInt, state -> Text, }
}
table! {
    entries (device, seq) {
        id -> Text,
        device -> Text,
        seq -> BigInt,
        farm -> Text,
        at_millis -> BigInt,
        at_counter -> BigInt,
        on_day -> Text,
        kind -> Text,
        body -> Text,
        prev -> Text,
        hash -> Text,
        position -> Nullable<BigInt>,
        taken_at -> Nullable<BigInt>,
    }
}
table! {
    clock (one) { one -> Integer, millis -> BigInt, counter -> BigInt, }
}
table! {
    link (one) {
        one -> Integer,
        server -> Text,
        login -> Text,
        network -> Nullable<Text>,
        epoch -> Nullable<Text>,
        cursor -> BigInt,
        synced_at -> Nullable<BigInt>,
        promised_mark -> Nullable<Text>,
    }
}
table! {
    network_values (one) { one -> Integer, mark -> Text, market -> Text, }
}
table! {
    value_history (made) { made -> Text, told -> Text, }
}
table! {
    network_summary (one) { one -> Integer, mark -> Text, summary -> Text, }
}
table! {
    promised (lot) { lot -> Text, count -> BigInt, }
}
table! {
    parked (number) {
        number -> BigInt,
        entry -> Text,
        code -> Text,
        detail -> Text,
        parked_at -> BigInt,
        state -> Text,
    }
}
table! {
    acts (id) {
        id -> Text,
        operation -> Text,
        path -> Text,
        body -> Text,
        said -> Text,
        made_at -> BigInt,
        state -> Text,
        answer -> Nullable<Text>,
    }
}
table! {
    imported (file_kind, row_key) { file_kind -> Text, row_key -> Text, row_text -> Text, lot -> Text, }
}
table! {
    withdrawn (number) { number -> BigInt, behind -> Text, entry -> Text, batch -> Nullable<BigInt>, }
}
table! {
    batches (number) {
        number -> BigInt,
        device -> Text,
        first_seq -> BigInt,
        last_seq -> BigInt,
        said -> Text,
    }
}
table! {
    column_names (file_kind, header) { file_kind -> Text, header -> Text, field -> Text, }
}
table! {
    seals (name) { name -> Text, digest -> Text, }
}
table! {
    writes (one) { one -> Integer, count -> BigInt, }
}
table! {
    chains (device) {
        device -> Text,
        entries -> BigInt,
        last_seq -> BigInt,
        last_hash -> Text,
        unplaced -> BigInt,
        places -> BigInt,
        taken -> BigInt,
    }
}
table! {
    snapshots (until_day) {
        until_day -> Text,
        entries -> BigInt,
        format -> Integer,
        cover -> Binary,
        state -> Binary,
        sum -> Binary,
    }
}
allow_tables_to_appear_in_same_query!(entries, devices);
