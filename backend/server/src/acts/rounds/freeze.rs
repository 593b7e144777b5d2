//! A network's view as a round takes it: what is free and open, who may give what to whom, how every
//! farm stands, and values that are fixed from now on.

use std::collections::{BTreeMap, BTreeSet};

use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::round::Rules;
use spareloop_domain::words::{Count, FarmId, NetworkId, UnitKind, VarietyName};
use spareloop_rounds::freeze::{self, Stands};
use spareloop_rounds::{Lack, VarietyKey};
use spareloop_store::{StoreError, limits, offers, proposals, wants};

use crate::acts::exchange::{MOST_MATCHED, lack_of, spare_in, ways_of};
use crate::acts::values;
use crate::error::ServerError;
use crate::house::House;

type Values = BTreeMap<(String, UnitKind), Tenths>;

/// The frozen view, as the solver's document. What open proposals are about is left out.
pub async fn freeze(
    house: &House,
    network: NetworkId,
    rules: &Rules,
) -> Result<String, ServerError> {
    let view = values::of_network(house, network).await?;
    let values: Values = view
        .values
        .iter()
        .filter_map(|line| {
            let name: VarietyName = line.variety.parse().ok()?;
            Some(((name.key(), line.unit), Tenths(line.tenths)))
        })
        .collect();
    let (rules, now, today) = (rules.clone(), house.now(), house.today()?);
    house
        .read(move |tx| {
            let offers = offers::for_swaps(tx, network, MOST_MATCHED, now)?;
            let wants = wants::board(tx, network, None, MOST_MATCHED, now)?;
            let bound = proposals::bound_by_open(tx, network, now)?;
            let mut lack: Vec<Lack> = wants.iter().filter_map(lack_of).collect();
            lack.retain_mut(|want| left(&mut want.count, bound.wants.get(&want.want)));
            let ways = ways_of(tx, network)?;
            let mut spare = spare_in(tx, (&offers, &lack, &ways), now, today)?;
            spare.retain_mut(|offer| left(&mut offer.count, bound.offers.get(&offer.offer)));
            let set = limits::all(tx, network)?;
            let farms: BTreeSet<FarmId> = spare
                .iter()
                .map(|offer| offer.farm)
                .chain(lack.iter().map(|want| want.farm))
                .collect();
            let stands = farms
                .into_iter()
                .map(|farm| {
                    let more = bound.farms.get(&farm).copied().unwrap_or_default();
                    let owed = limits::standing(tx, network, farm, now)?.with(more).ends();
                    let limit = set.get(&farm).map_or(rules.usual_limit, |limit| limit.tenths());
                    Ok((farm, Stands { owed, limit }))
                })
                .collect::<Result<BTreeMap<_, _>, StoreError>>()?;
            let value = |variety: &VarietyKey, unit| {
                values.get(&(variety.as_str().to_owned(), unit)).copied()
            };
            Ok(freeze::freeze(&rules, &stands, (&spare, &lack), &ways, value).to_string())
        })
        .await
}

/// Takes what is bound off a count; whether any is left.
fn left(count: &mut Count, bound: Option<&Count>) -> bool {
    *count = count.less(bound.copied().unwrap_or_default());
    !count.is_zero()
}
