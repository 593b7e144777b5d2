//! A farm's stock as the fold of its synced ledger has it.

use spareloop_api::stock::StockView;
use spareloop_store::{farm_book, offers};

use crate::auth::caller::Grower;
use crate::error::ServerError;
use crate::house::House;
use crate::views::stock::{self as views, Rules};

/// The farm's stock, with what is promised taken out of what is spare.
pub async fn stock(house: &House, grower: Grower) -> Result<StockView, ServerError> {
    let (now, today) = (house.now(), house.today()?);
    let (book, promised) = house
        .read(move |tx| {
            Ok((farm_book(tx, grower.farm)?, offers::promised_by_lot(tx, grower.farm, now)?))
        })
        .await?;
    // Reckoning takes a while on a large book, and holds no transaction.
    house
        .off_thread(move |_| {
            Ok(views::stock(&book, today, &Rules { promised, ..Rules::default() }))
        })
        .await
}
