//! How far farms lie from each other, from where each of them roughly is.
//!
//! A place is kept to a twentieth of a degree, some five kilometres, so that the network can say how far
//! a parcel or a drive would be and nobody's door is in it. Distances are straight over the ground; roads
//! and ferries are longer. What may not enter: addresses, maps, rows.

use std::collections::BTreeMap;
use std::fmt;

use serde::{Deserialize, Serialize};

use crate::words::FarmId;

/// Steps of a whereabouts in one degree.
const STEPS: f64 = 20.0;
/// The Earth's mean radius R1 = (2a + b) / 3 of the ellipsoid GRS 80, in kilometres (Moritz, "Geodetic
/// Reference System 1980"; figure from memory).
const EARTH_RADIUS: f64 = 6371.0088;

/// Where a farm roughly is: latitude and longitude in degrees, to a twentieth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Whereabouts {
    latitude: i16,
    longitude: i16,
}

/// Numbers that are no place on Earth.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error(
    "a place is a latitude of -90 to 90 and a longitude of -180 to 180 degrees (got {latitude}, {longitude})"
)]
pub struct WhereaboutsError {
    latitude: f64,
    longitude: f64,
}

impl Whereabouts {
    /// The place at these degrees, north and east positive, rounded to a twentieth of a degree.
    pub fn of_degrees(latitude: f64, longitude: f64) -> Result<Self, WhereaboutsError> {
        let wrong = WhereaboutsError { latitude, longitude };
        let step = |degrees: f64, most: f64| -> Option<i16> {
            let on_earth = degrees.is_finite() && degrees.abs() <= most;
            // At most 180 * 20 = 3600 steps, which an i16 holds.
            #[allow(clippy::cast_possible_truncation)]
            on_earth.then(|| (degrees * STEPS).round() as i16)
        };
        let latitude = step(latitude, 90.0).ok_or(wrong)?;
        let longitude = step(longitude, 180.0).ok_or(wrong)?;
        Ok(Self { latitude, longitude })
    }

    /// The place of so many twentieths of a degree, as [`Self::steps`] gives them.
    pub fn of_steps(latitude: i64, longitude: i64) -> Result<Self, WhereaboutsError> {
        let degrees = |steps: i64| steps as f64 / STEPS;
        Self::of_degrees(degrees(latitude), degrees(longitude))
    }

    /// Its latitude and longitude in twentieths of a degree.
    pub const fn steps(self) -> (i16, i16) {
        (self.latitude, self.longitude)
    }

    /// The latitude in degrees, north positive.
    pub fn latitude(self) -> f64 {
        f64::from(self.latitude) / STEPS
    }

    /// The longitude in degrees, east positive.
    pub fn longitude(self) -> f64 {
        f64::from(self.longitude) / STEPS
    }

    /// How far the other place is, over a sphere by the haversine formula
    /// `2 R asin √(sin²(Δφ/2) + cos φ₁ cos φ₂ sin²(Δλ/2))` (Sinnott, "Virtues of the Haversine", Sky and
    /// Telescope 68 (1984), 159), which is good to about half a percent, to the whole kilometre.
    ///
    /// ```
    /// use spareloop_domain::exchange::distance::Whereabouts;
    /// let here = Whereabouts::of_degrees(52.4, -4.05)?;
    /// let there = Whereabouts::of_degrees(51.9, -4.3)?;
    /// assert_eq!(here.distance(there).to_string(), "58 km");
    /// # Ok::<(), spareloop_domain::exchange::distance::WhereaboutsError>(())
    /// ```
    pub fn distance(self, other: Self) -> Kilometres {
        let half_sine = |steps: f64| (steps / STEPS / 2.0).to_radians().sin();
        let between = |one: i16, other: i16| f64::from(one) - f64::from(other);
        let north = half_sine(between(self.latitude, other.latitude)).powi(2);
        let east = half_sine(between(self.longitude, other.longitude)).powi(2);
        let cosines = self.latitude().to_radians().cos() * other.latitude().to_radians().cos();
        let share = (north + cosines * east).clamp(0.0, 1.0);
        let kilometres = 2.0 * EARTH_RADIUS * share.sqrt().asin();
        // Half of a great circle is 20 015 km, which a u16 holds.
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        Kilometres(kilometres.round() as u16)
    }
}

impl fmt::Display for Whereabouts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.2} {:.2}", self.latitude(), self.longitude())
    }
}

/// A distance over the ground, in whole kilometres.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Kilometres(pub u16);

impl fmt::Display for Kilometres {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} km", self.0)
    }
}

/// The greatest distance of a want: from how far away stock may come, 1 to 20 015 km.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "u16", into = "u16")]
pub struct GreatestDistance(Kilometres);

/// A number that is no greatest distance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a greatest distance is 1 to 20015 km (got {0})")]
pub struct GreatestDistanceError(u16);

impl GreatestDistance {
    /// In kilometres.
    pub const fn kilometres(self) -> Kilometres {
        self.0
    }
}

impl TryFrom<u16> for GreatestDistance {
    type Error = GreatestDistanceError;
    fn try_from(kilometres: u16) -> Result<Self, GreatestDistanceError> {
        if (1..=20_015).contains(&kilometres) {
            Ok(Self(Kilometres(kilometres)))
        } else {
            Err(GreatestDistanceError(kilometres))
        }
    }
}

impl From<GreatestDistance> for u16 {
    fn from(greatest: GreatestDistance) -> Self {
        greatest.0.0
    }
}

impl std::str::FromStr for GreatestDistance {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        let number: u16 =
            text.trim().parse().map_err(|_| "a greatest distance is 1 to 20015 km".to_owned())?;
        number.try_into().map_err(|error: GreatestDistanceError| error.to_string())
    }
}

impl fmt::Display for GreatestDistance {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// How far another farm is, as seen from one that wants something.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reach {
    /// Within the want's greatest distance, or the want sets none.
    Within,
    /// One of the two farms hasn't said where it is.
    NotKnown,
    /// Farther than that.
    Beyond(Kilometres),
}

/// Where the farms of a network are, as far as they have said so.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Places(pub BTreeMap<FarmId, Whereabouts>);

impl Places {
    /// How far two farms are from each other, if both have said where they are.
    pub fn between(&self, one: FarmId, other: FarmId) -> Option<Kilometres> {
        Some(self.0.get(&one)?.distance(*self.0.get(&other)?))
    }

    /// Whether what one farm has lies within what another's want sets.
    pub fn reach(&self, giver: FarmId, taker: FarmId, within: Option<GreatestDistance>) -> Reach {
        let Some(greatest) = within else { return Reach::Within };
        match self.between(giver, taker) {
            None => Reach::NotKnown,
            Some(far) if far > greatest.kilometres() => Reach::Beyond(far),
            Some(_) => Reach::Within,
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use proptest::prelude::*;
    use uuid::Uuid;

    fn at(latitude: f64, longitude: f64) -> Whereabouts {
        Whereabouts::of_degrees(latitude, longitude).unwrap()
    }

    /// From the definition of the unit: the metre was to be a ten-millionth of the quarter meridian, so a
    /// quarter of a great circle is close to 10 000 km; on this sphere π R / 2.
    #[test]
    fn from_the_pole_to_the_equator_is_a_quarter_of_a_great_circle() {
        assert_eq!(at(90.0, 0.0).distance(at(0.0, 77.0)), Kilometres(10_008));
        assert_eq!(at(0.0, -90.0).distance(at(0.0, 90.0)), Kilometres(20_015));
    }

    /// A degree of latitude is 60 nautical miles of 1.852 km (SI brochure, table 8): 111.12 km, and
    /// a degree of longitude at 60 degrees is half as long, as cos 60° = 1/2.
    #[test]
    fn a_degree_is_sixty_nautical_miles_and_half_of_that_at_sixty_degrees() {
        assert_eq!(at(51.0, 3.0).distance(at(52.0, 3.0)), Kilometres(111));
        let along = at(60.0, 10.0).distance(at(60.0, 14.0)).0;
        assert!((222..=223).contains(&along), "{along}");
    }

    #[test]
    fn a_place_is_kept_to_a_twentieth_of_a_degree() {
        let kept = at(52.413_7, -4.081_2);
        assert_eq!(kept.to_string(), "52.40 -4.10");
        assert_eq!(at(kept.latitude(), kept.longitude()), kept);
    }

    #[test]
    fn what_is_no_place_on_earth_is_refused() {
        let wrong = [(90.1, 0.0), (0.0, -180.5), (f64::NAN, 0.0), (0.0, f64::INFINITY)];
        for (latitude, longitude) in wrong {
            assert!(Whereabouts::of_degrees(latitude, longitude).is_err());
        }
        assert!(
            GreatestDistance::try_from(0).is_err() && "far".parse::<GreatestDistance>().is_err()
        );
    }

    #[test]
    fn a_want_reaches_as_far_as_it_says_and_a_farm_that_is_nowhere_is_not_known() {
        let farm = |number| FarmId::new(Uuid::from_u128(number));
        let places = Places([(farm(1), at(52.0, 4.0)), (farm(2), at(53.0, 4.0))].into());
        let within = |kilometres: u16| Some(GreatestDistance::try_from(kilometres).unwrap());
        assert_eq!(places.reach(farm(1), farm(2), within(111)), Reach::Within);
        assert_eq!(places.reach(farm(1), farm(2), within(110)), Reach::Beyond(Kilometres(111)));
        assert_eq!(places.reach(farm(1), farm(9), within(110)), Reach::NotKnown);
        assert_eq!(places.reach(farm(8), farm(9), None), Reach::Within);
    }

    proptest! {
        #[test]
        fn a_way_is_as_long_back_as_there_and_never_longer_than_by_a_third_farm(
            ends in prop::array::uniform3((-90.0..90.0_f64, -180.0..180.0_f64)),
        ) {
            let [one, other, third] = ends.map(|(latitude, longitude)| at(latitude, longitude));
            prop_assert_eq!(one.distance(other), other.distance(one));
            prop_assert_eq!(one.distance(one), Kilometres(0));
            let around = one.distance(third).0 + third.distance(other).0;
            // Each of the three is rounded to the kilometre.
            prop_assert!(one.distance(other).0 <= around + 2);
        }
    }
}
