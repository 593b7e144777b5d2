//! Where farms are, and what their coordinator asks for between two regions.
//!
//! Both sides are told the caution in the transaction that makes a hold between them. What may not
//! enter: what is said, and whether something passes, which `domain` says.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, NaiveDateTime, Utc};
use diesel::sql_types::{Text, Timestamp};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, Queryable, RunQueryDsl, sql_query};
use spareloop_domain::exchange::movement::{Movements, Region, Rule};
use spareloop_domain::words::{FarmId, HoldId, LotId, NetworkId, PersonId};

use crate::schema::{farm_regions, movement_rules};
use crate::text::{free, moment, read};
use crate::{Refused, StoreError, Tx, attest, messages, people};

/// The codes of what a rule does.
const ASKS: &str = "asks";
const NOT_HERE: &str = "not-here";

/// A rule with the regions as they were typed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RuleLine {
    /// From where.
    pub from: Region,
    /// To where.
    pub to: Region,
    /// What is set.
    pub rule: Rule,
    /// Since when.
    pub set_at: DateTime<Utc>,
}

/// Notes where a farm is, or that it is not noted any more, and tells the farm.
pub fn set_region(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    region: Option<&Region>,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    people::farm(tx, network, farm)?;
    let told = if let Some(region) = region {
        sql_query(
            "INSERT INTO farm_regions (farm, network, region, set_at) VALUES ($1, $2, $3, $4) \
             ON CONFLICT (farm) DO UPDATE SET region = excluded.region, set_at = excluded.set_at",
        )
        .bind::<Text, _>(farm.to_string())
        .bind::<Text, _>(network.to_string())
        .bind::<Text, _>(region.to_string())
        .bind::<Timestamp, _>(moment(now))
        .execute(tx.connection)?;
        format!("The coordinator noted your farm's region: {region}. Tell them if it is wrong.")
    } else {
        diesel::delete(farm_regions::table.find(farm.to_string())).execute(tx.connection)?;
        "The coordinator no longer notes a region for your farm.".to_owned()
    };
    messages::tell(tx, farm, None, &told, now)
}

/// Sets what is asked for from one region to another, or takes the rule away. What is agreed already
/// stands; the next hold, match and round go by it.
pub fn set_rule(
    tx: &mut Tx<'_>,
    (network, by): (NetworkId, PersonId),
    (from, to): (&Region, &Region),
    rule: Option<&Rule>,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let (from_key, to_key) = (from.key(), to.key());
    if from_key == to_key {
        return Err(StoreError::refuse(Refused::OneRegion));
    }
    let at = (network.to_string(), from_key.as_str().to_owned(), to_key.as_str().to_owned());
    let Some(rule) = rule else {
        diesel::delete(movement_rules::table.find(at)).execute(tx.connection)?;
        return Ok(());
    };
    let none = BTreeSet::new();
    let (passage, required, note) = match rule {
        Rule::Asks { required, note } => (ASKS, required, note),
        Rule::NotHere { note } => (NOT_HERE, &none, note),
    };
    sql_query(
        "INSERT INTO movement_rules (network, from_key, to_key, from_region, to_region, passage, \
         required, note, by_person, set_at) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10) \
         ON CONFLICT (network, from_key, to_key) DO UPDATE SET from_region = excluded.from_region, \
         to_region = excluded.to_region, passage = excluded.passage, required = excluded.required, \
         note = excluded.note, by_person = excluded.by_person, set_at = excluded.set_at",
    )
    .bind::<Text, _>(at.0)
    .bind::<Text, _>(at.1)
    .bind::<Text, _>(at.2)
    .bind::<Text, _>(from.to_string())
    .bind::<Text, _>(to.to_string())
    .bind::<Text, _>(passage)
    .bind::<Text, _>(serde_json::to_string(required).map_err(StoreError::broken)?)
    .bind::<Text, _>(free(note, "the note")?)
    .bind::<Text, _>(by.to_string())
    .bind::<Timestamp, _>(moment(now))
    .execute(tx.connection)?;
    Ok(())
}

#[derive(Queryable)]
struct RuleRow {
    _network: String,
    _from_key: String,
    _to_key: String,
    from_region: String,
    to_region: String,
    passage: String,
    required: String,
    note: String,
    _by_person: String,
    set_at: NaiveDateTime,
}

impl RuleRow {
    fn line(self) -> Result<RuleLine, StoreError> {
        let rule = match self.passage.as_str() {
            ASKS => Rule::Asks {
                required: serde_json::from_str(&self.required).map_err(StoreError::corrupt)?,
                note: self.note,
            },
            NOT_HERE => Rule::NotHere { note: self.note },
            other => return Err(StoreError::corrupt(format!("a movement rule that {other:?}"))),
        };
        Ok(RuleLine {
            from: read(&self.from_region)?,
            to: read(&self.to_region)?,
            rule,
            set_at: self.set_at.and_utc(),
        })
    }
}

/// A network's rules, by region.
pub fn rules(tx: &mut Tx<'_>, network: NetworkId) -> Result<Vec<RuleLine>, StoreError> {
    let rows: Vec<RuleRow> = movement_rules::table
        .filter(movement_rules::network.eq(network.to_string()))
        .order((movement_rules::from_key, movement_rules::to_key))
        .load(tx.connection)?;
    rows.into_iter().map(RuleRow::line).collect()
}

/// All regions and rules of a network.
pub fn of_network(tx: &mut Tx<'_>, network: NetworkId) -> Result<Movements, StoreError> {
    let rows: Vec<(String, String)> = farm_regions::table
        .filter(farm_regions::network.eq(network.to_string()))
        .select((farm_regions::farm, farm_regions::region))
        .load(tx.connection)?;
    let regions: BTreeMap<FarmId, Region> = rows
        .iter()
        .map(|(farm, region)| Ok((read(farm)?, read(region)?)))
        .collect::<Result<_, StoreError>>()?;
    let rules = rules(tx, network)?
        .into_iter()
        .map(|line| ((line.from.key(), line.to.key()), line.rule))
        .collect();
    Ok(Movements { regions, rules })
}

/// The regions of two farms and the rule from the one to the other.
fn of_two(
    tx: &mut Tx<'_>,
    network: NetworkId,
    (giver, taker): (FarmId, FarmId),
) -> Result<Movements, StoreError> {
    let rows: Vec<(String, String)> = farm_regions::table
        .filter(farm_regions::network.eq(network.to_string()))
        .filter(farm_regions::farm.eq_any([giver.to_string(), taker.to_string()]))
        .select((farm_regions::farm, farm_regions::region))
        .load(tx.connection)?;
    let mut found = Movements::default();
    for (farm, region) in &rows {
        found.regions.insert(read(farm)?, read(region)?);
    }
    let (Some(from), Some(to)) = (found.regions.get(&giver), found.regions.get(&taker)) else {
        return Ok(found);
    };
    let at = (from.key(), to.key());
    let row: Option<RuleRow> = movement_rules::table
        .find((network.to_string(), at.0.as_str().to_owned(), at.1.as_str().to_owned()))
        .first(tx.connection)
        .optional()?;
    if let Some(row) = row {
        found.rules.insert(at, row.line()?.rule);
    }
    Ok(found)
}

/// What both farms are told of stock that goes from the one to the other, if anything.
pub fn caution(
    tx: &mut Tx<'_>,
    network: NetworkId,
    (giver, taker): (FarmId, FarmId),
) -> Result<Option<String>, StoreError> {
    Ok(of_two(tx, network, (giver, taker))?.between(giver, taker).caution())
}

/// Whether a lot of the giver may be promised to the taker, as far as regions care; answers what both
/// are told, if anything.
pub(crate) fn check(
    tx: &mut Tx<'_>,
    network: NetworkId,
    (giver, taker): (FarmId, FarmId),
    lot: LotId,
    now: DateTime<Utc>,
) -> Result<Option<String>, StoreError> {
    let all = of_two(tx, network, (giver, taker))?;
    let movement = all.between(giver, taker);
    if movement.is_stopped() {
        let caution = movement.caution().unwrap_or_default();
        return Err(StoreError::refuse(Refused::MovementStopped { caution }));
    }
    let missing = attest::missing_of(tx, network, (giver, lot), &movement.required(), now)?;
    if missing.is_empty() {
        Ok(movement.caution())
    } else {
        Err(StoreError::refuse(Refused::MovementAsks { missing }))
    }
}

/// Tells both farms of a hold between regions to ask their authority first.
pub(crate) fn tell(
    tx: &mut Tx<'_>,
    (giver, taker): (FarmId, FarmId),
    hold: HoldId,
    caution: Option<&str>,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    if let Some(caution) = caution {
        for farm in [giver, taker] {
            messages::tell(tx, farm, Some(hold), caution, now)?;
        }
    }
    Ok(())
}
