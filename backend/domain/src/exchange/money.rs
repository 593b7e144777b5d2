//! Money that passed between two farms outside of the network: recorded once both confirm it, never
//! handled, never added to the owed book, never converted.
//!
//! What may not enter: who pays whom, and rows.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::{Party, Refused, Why};
use crate::words::{Count, UnknownWord, plain, word};

/// A currency by its alphabetic code of ISO 4217: three capital letters. Whether such a currency is in
/// use is not asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Currency([char; 3]);

/// An amount of money above 0, at most 1,000,000, with at most three decimals.
///
/// ```
/// use spareloop_domain::exchange::money::Money;
/// let price: Money = "2.50 eur".parse().unwrap();
/// assert_eq!(price.to_string(), "2.50 EUR");
/// assert_eq!("300 JPY".parse::<Money>().unwrap().to_string(), "300 JPY");
/// assert!("2,5".parse::<Money>().is_err());
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Money {
    thousandths: u32,
    currency: Currency,
}

/// What is no amount of money.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MoneyError {
    /// Not an amount and a currency.
    #[error("{0:?} is no amount of money: write it like 2.50 EUR")]
    Form(String),
    /// Nothing, or too much.
    #[error("an amount is above 0 and at most 1,000,000, with at most three decimals")]
    Range,
}

/// The most, in thousandths: 1,000,000.000.
const MOST: u32 = 1_000_000_000;

impl FromStr for Currency {
    type Err = MoneyError;
    fn from_str(text: &str) -> Result<Self, MoneyError> {
        let letters: Vec<char> = text.chars().map(|letter| letter.to_ascii_uppercase()).collect();
        match letters.as_slice() {
            &[a, b, c] if [a, b, c].iter().all(char::is_ascii_uppercase) => Ok(Self([a, b, c])),
            _ => Err(MoneyError::Form(text.to_owned())),
        }
    }
}

impl fmt::Display for Currency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|letter| letter.fmt(f))
    }
}

impl Money {
    /// So many thousandths of a currency's unit.
    ///
    /// # Errors
    /// Nothing, or more than 1,000,000.
    pub fn new(thousandths: i64, currency: Currency) -> Result<Self, MoneyError> {
        match u32::try_from(thousandths) {
            Ok(thousandths @ 1..=MOST) => Ok(Self { thousandths, currency }),
            _ => Err(MoneyError::Range),
        }
    }

    /// In thousandths of the currency's unit.
    pub fn thousandths(self) -> i64 {
        i64::from(self.thousandths)
    }

    /// Its currency.
    pub const fn currency(self) -> Currency {
        self.currency
    }

    /// The same for so many.
    ///
    /// # Errors
    /// For none, or where it comes to more than 1,000,000.
    pub fn times(self, count: Count) -> Result<Self, MoneyError> {
        Self::new(self.thousandths() * i64::from(count), self.currency)
    }
}

impl FromStr for Money {
    type Err = MoneyError;
    fn from_str(text: &str) -> Result<Self, MoneyError> {
        let wrong = || MoneyError::Form(text.to_owned());
        let (amount, currency) = text.trim().split_once(' ').ok_or_else(wrong)?;
        let currency: Currency = currency.trim().parse().map_err(|_| wrong())?;
        let (whole, decimals) = amount.split_once('.').unwrap_or((amount, "0"));
        let digits = |text: &str, most: usize| {
            (1..=most).contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_digit())
        };
        if !digits(whole, 9) || !digits(decimals, 9) {
            return Err(wrong());
        }
        if decimals.len() > 3 {
            return Err(MoneyError::Range);
        }
        let number = |text: &str| text.parse::<i64>().map_err(|_| wrong());
        Self::new(number(whole)? * 1_000 + number(&format!("{decimals:0<3}"))?, currency)
    }
}

impl fmt::Display for Money {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (whole, rest) = (self.thousandths / 1_000, self.thousandths % 1_000);
        match (rest, rest % 10) {
            (0, _) => write!(f, "{whole} {}", self.currency),
            (_, 0) => write!(f, "{whole}.{:02} {}", rest / 10, self.currency),
            _ => write!(f, "{whole}.{rest:03} {}", self.currency),
        }
    }
}

impl TryFrom<String> for Money {
    type Error = MoneyError;
    fn try_from(text: String) -> Result<Self, MoneyError> {
        text.parse()
    }
}

impl From<Money> for String {
    fn from(money: Money) -> Self {
        money.to_string()
    }
}

word! {
    /// How a payment that one side noted stands.
    PaymentState {
        /// The other side has not confirmed it.
        Noted = "noted", "noted by one side";
        /// Both say so: it is on record.
        Confirmed = "confirmed", "confirmed by both";
        /// The other side says that it did not take place like that.
        Denied = "denied", "not confirmed by the other side";
        /// Whoever noted it took it back.
        Withdrawn = "withdrawn", "taken back";
    }
}

word! {
    /// What may be done to it.
    PaymentAct {
        /// The other farm confirms.
        ConfirmByOther = "confirm", "confirmed";
        /// The other farm does not.
        DenyByOther = "deny", "denied";
        /// Whoever noted it takes it back.
        WithdrawByNoter = "withdraw", "taken back";
    }
}

impl PaymentAct {
    /// Who may.
    pub const fn by(self) -> Party {
        match self {
            Self::ConfirmByOther | Self::DenyByOther => Party::OtherFarm,
            Self::WithdrawByNoter => Party::Noter,
        }
    }
}

impl PaymentState {
    /// Where an act leads from here, or why it is refused.
    ///
    /// ```
    /// use spareloop_domain::exchange::money::{PaymentAct, PaymentState};
    /// let both = PaymentState::Noted.after(PaymentAct::ConfirmByOther);
    /// assert_eq!(both, Ok(PaymentState::Confirmed));
    /// assert!(PaymentState::Confirmed.after(PaymentAct::WithdrawByNoter).is_err());
    /// ```
    pub fn after(self, act: PaymentAct) -> Result<Self, Refused> {
        use PaymentAct as A;
        let refuse = |why| Err(Refused::new("payment", self, act, why));
        match (self, act) {
            (Self::Noted, A::ConfirmByOther) => Ok(Self::Confirmed),
            (Self::Noted, A::DenyByOther) => Ok(Self::Denied),
            (Self::Noted, A::WithdrawByNoter) => Ok(Self::Withdrawn),
            (Self::Confirmed, A::ConfirmByOther)
            | (Self::Denied, A::DenyByOther)
            | (Self::Withdrawn, A::WithdrawByNoter) => refuse(Why::AlreadySo),
            (Self::Confirmed | Self::Denied | Self::Withdrawn, _) => refuse(Why::Ended),
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn an_amount_is_read_as_people_write_it_and_nothing_else_is() {
        for (text, said) in [
            ("2.5 EUR", "2.50 EUR"),
            (" 12 usd ", "12 USD"),
            // ISO 4217 gives the dinar of Kuwait three decimals (from memory).
            ("0.125 KWD", "0.125 KWD"),
            ("1000000 SEK", "1000000 SEK"),
        ] {
            assert_eq!(text.parse::<Money>().unwrap().to_string(), said);
        }
        for text in
            ["", "2.5", "EUR", "2,50 EUR", "-1 EUR", "2.5 EURO", "2.5 E1R", ". EUR", "+2 EUR"]
        {
            assert_eq!(text.parse::<Money>(), Err(MoneyError::Form(text.to_owned())), "{text}");
        }
        for text in ["0 EUR", "0.000 EUR", "1000000.001 EUR", "0.1255 EUR"] {
            assert_eq!(text.parse::<Money>(), Err(MoneyError::Range), "{text}");
        }
    }

    proptest! {
        #[test]
        fn what_is_written_is_read_back(thousandths in 1_i64..=1_000_000_000) {
            let money = Money::new(thousandths, "EUR".parse().unwrap()).unwrap();
            prop_assert_eq!(money.to_string().parse::<Money>(), Ok(money));
        }
    }
}
