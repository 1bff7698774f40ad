//! Records of lives, and the sums that everything else is worked out from.

use serde::{Deserialize, Serialize};

use super::LifeError;
use super::bins::{Bins, Powers};

/// Up to so many ages are kept one by one; more go into bins \[ours\].
const ONE_BY_ONE: usize = 64;

/// How a part was last seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Seen {
    /// It failed at this age.
    Failed {
        /// The age.
        at: f64,
    },
    /// It was still good at this age.
    StillGood {
        /// The age.
        at: f64,
    },
    /// It failed somewhere between two ages; also for a part renewed at an unknown age of the whole.
    FailedBetween {
        /// Still good at this age; nought when nobody looked before.
        after: f64,
        /// Found failed at this age.
        by: f64,
    },
}

/// Since when a part was watched: at what age it would have come into the record had it failed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Watch {
    /// From new.
    FromNew,
    /// From this age on, the first visit; parts that failed before never came into the record.
    Since(f64),
    /// Nobody knows; such a record is refused, because left in it makes lives too long.
    Unknown,
}

/// One part's life so far, in one mode.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Record {
    /// How it was last seen.
    pub seen: Seen,
    /// Since when it was watched.
    pub watched: Watch,
}

impl Record {
    /// A part that failed at an age.
    #[must_use]
    pub fn failed(at: f64, watched: Watch) -> Self {
        Self { seen: Seen::Failed { at }, watched }
    }

    /// A part that was still good at an age.
    #[must_use]
    pub fn still_good(at: f64, watched: Watch) -> Self {
        Self { seen: Seen::StillGood { at }, watched }
    }

    /// A part that failed between two ages.
    #[must_use]
    pub fn failed_between(after: f64, by: f64, watched: Watch) -> Self {
        Self { seen: Seen::FailedBetween { after, by }, watched }
    }
}

/// What many records come to: sums that add, so that two histories of the same mode merge into one.
///
/// Up to 64 ages are kept as they are; beyond that they go into bins of fixed edges, after which a million records cost
/// no more than a thousand. Failures between two ages are kept one by one throughout.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct History {
    records: u64,
    failed: u64,
    sum_ln_failed: f64,
    /// Failures between two ages.
    between: Vec<(f64, f64)>,
    /// Ages at exit (+1) and at entry (-1), while they are few.
    few: Vec<(f64, f64)>,
    /// The same when they are many.
    many: Option<Bins>,
}

impl History {
    /// Sums up records.
    ///
    /// # Errors
    /// [`LifeError::EntryUnknown`] and [`LifeError::Ages`] name the first record that cannot be taken.
    pub fn of(records: &[Record]) -> Result<Self, LifeError> {
        let mut history = Self::default();
        for (number, record) in records.iter().enumerate() {
            history.take(number, record)?;
        }
        Ok(history)
    }

    /// Sums up columns: one row a part, `entered` nought for parts that were watched from new.
    ///
    /// # Shapes
    /// Three columns of one length. `at` is the age at failing where `failed` says so, else the age at which the part was
    /// last seen good.
    ///
    /// # Errors
    /// [`LifeError::Columns`]; [`LifeError::Ages`] names the first row that cannot be taken.
    pub fn of_columns(at: &[f64], failed: &[bool], entered: &[f64]) -> Result<Self, LifeError> {
        if at.len() != failed.len() || at.len() != entered.len() {
            let (ages, failed, entered) = (at.len(), failed.len(), entered.len());
            return Err(LifeError::Columns { ages, failed, entered });
        }
        let rows = || at.iter().zip(failed).zip(entered).map(|((at, failed), from)| (*at, *failed, *from));
        if 2 * at.len() <= ONE_BY_ONE {
            let record = |(at, failed, from): (f64, bool, f64)| {
                // A number that is no age goes on to be refused by name.
                let watched = if from == 0.0 { Watch::FromNew } else { Watch::Since(from) };
                if failed { Record::failed(at, watched) } else { Record::still_good(at, watched) }
            };
            return Self::of(&rows().map(record).collect::<Vec<_>>());
        }
        let mut bins = Bins::default();
        let summed = bins.take(at, failed, entered).map_err(|row| {
            let (at, failed, from) = rows().nth(row).unwrap_or((f64::NAN, false, f64::NAN));
            let seen = if failed { Seen::Failed { at } } else { Seen::StillGood { at } };
            LifeError::Ages { record: row, entered: from, seen: in_words(&seen) }
        })?;
        Ok(Self {
            records: u64::try_from(at.len()).unwrap_or(u64::MAX),
            failed: summed.count,
            sum_ln_failed: summed.sum_ln,
            many: Some(bins),
            ..Self::default()
        })
    }

    /// Adds one record; `number` is what an error calls it.
    ///
    /// # Errors
    /// [`LifeError::EntryUnknown`], [`LifeError::Ages`].
    pub fn take(&mut self, number: usize, record: &Record) -> Result<(), LifeError> {
        let entered = match record.watched {
            Watch::FromNew => 0.0,
            Watch::Since(age) => age,
            Watch::Unknown => return Err(LifeError::EntryUnknown { record: number }),
        };
        let (exit, last, follows) = match record.seen {
            Seen::Failed { at } => (at, at, entered < at),
            Seen::StillGood { at } => (at, at, at > 0.0 && entered <= at),
            Seen::FailedBetween { after, by } => (after, by, entered <= after && after < by),
        };
        if !(entered >= 0.0 && follows && last.is_normal() && (entered == 0.0 || entered.is_normal())) {
            return Err(LifeError::Ages { record: number, entered, seen: in_words(&record.seen) });
        }
        self.records += 1;
        match record.seen {
            Seen::Failed { at } => {
                self.failed += 1;
                self.sum_ln_failed += at.ln();
            }
            Seen::FailedBetween { after, by } => self.between.push((after, by)),
            Seen::StillGood { .. } => {}
        }
        self.put(exit, 1.0);
        self.put(entered, -1.0);
        Ok(())
    }

    /// Adds another history of the same mode on the same clock.
    pub fn merge(&mut self, other: &Self) {
        self.records += other.records;
        self.failed += other.failed;
        self.sum_ln_failed += other.sum_ln_failed;
        self.between.extend_from_slice(&other.between);
        for &(age, sign) in &other.few {
            self.put(age, sign);
        }
        if let Some(theirs) = &other.many {
            self.binned().merge(theirs);
        }
    }

    /// How many records there are.
    #[must_use]
    pub fn records(&self) -> u64 {
        self.records
    }

    /// How many of them are failures, those between two ages included.
    #[must_use]
    pub fn failures(&self) -> u64 {
        self.failed + u64::try_from(self.between.len()).unwrap_or(u64::MAX)
    }

    /// Failures at a known age, and the sum of the logarithms of these ages.
    pub(super) fn failed(&self) -> (f64, f64) {
        (count(self.failed), self.sum_ln_failed)
    }

    pub(super) fn between(&self) -> &[(f64, f64)] {
        &self.between
    }

    /// The logarithm of an age near the longest, as an age of reference.
    pub(super) fn ln_top(&self) -> f64 {
        let ages = self.few.iter().map(|(age, _)| *age).chain(self.between.iter().map(|(_, by)| *by));
        let longest = ages.fold(0.0, f64::max);
        let few = if longest > 0.0 { longest.ln() } else { f64::NEG_INFINITY };
        let top = few.max(self.many.as_ref().map_or(f64::NEG_INFINITY, Bins::ln_top));
        if top.is_finite() { top } else { 0.0 }
    }

    /// The ages, ready to be summed for any exponent.
    pub(super) fn exposure(&self, shift: f64) -> Exposure<'_> {
        let few = self.few.iter().map(|(age, sign)| (age.ln() - shift, *sign)).collect();
        Exposure { few, many: self.many.as_ref(), shift }
    }

    fn put(&mut self, age: f64, sign: f64) {
        if age <= 0.0 {
            return;
        }
        if let Some(bins) = &mut self.many {
            bins.add(age, sign);
            return;
        }
        self.few.push((age, sign));
        if self.few.len() > ONE_BY_ONE {
            self.binned();
        }
    }

    fn binned(&mut self) -> &mut Bins {
        let bins = self.many.get_or_insert_with(Bins::default);
        for (age, sign) in self.few.drain(..) {
            bins.add(age, sign);
        }
        bins
    }
}

/// The ages of a history as logarithms over an age of reference.
#[derive(Debug)]
pub(super) struct Exposure<'a> {
    few: Vec<(f64, f64)>,
    many: Option<&'a Bins>,
    shift: f64,
}

impl Exposure<'_> {
    /// The signed sums of the b-th powers and of these times the logarithm and its square.
    pub(super) fn powers(&self, exponent: f64) -> Powers {
        let mut sums = self.many.map(|bins| bins.powers(exponent, self.shift)).unwrap_or_default();
        for &(x, sign) in &self.few {
            let power = sign * (exponent * x).exp();
            sums.zeroth += power;
            sums.first += power * x;
            sums.second += power * x * x;
        }
        sums
    }
}

/// A count as a number; counts beyond 2^53 do not occur.
#[expect(clippy::cast_precision_loss, reason = "exact up to 2^53 records")]
fn count(records: u64) -> f64 {
    records as f64
}

fn in_words(seen: &Seen) -> String {
    match seen {
        Seen::Failed { at } => format!("failed at {at}"),
        Seen::StillGood { at } => format!("still good at {at}"),
        Seen::FailedBetween { after, by } => format!("failed between {after} and {by}"),
    }
}
