//! How far wholes travel a year and how many are still in use, year by year, as a table that is handed in.

use serde::{Deserialize, Serialize};

use super::MileageError;

/// One year of life.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Year {
    /// Share still in use.
    pub survival: f64,
    /// Distance travelled in it by those in use.
    pub travel: f64,
}

/// A table of survival and travel by age, with the name of its source.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "StoredSchedule")]
pub struct Schedule {
    name: String,
    first_age: u32,
    years: Vec<Year>,
}

/// A schedule as it is read back, not yet checked.
#[derive(Deserialize)]
struct StoredSchedule {
    name: String,
    first_age: u32,
    years: Vec<Year>,
}

impl TryFrom<StoredSchedule> for Schedule {
    type Error = MileageError;

    fn try_from(stored: StoredSchedule) -> Result<Self, MileageError> {
        Self::new(stored.name, stored.first_age, stored.years)
    }
}

impl Schedule {
    /// Gives a schedule from its rows. `first_age` is what the table calls the first year of life, nought or one.
    ///
    /// # Errors
    /// [`MileageError::Schedule`] names the row that is wrong: a share outside 0 to 1 or above the one before it, or a
    /// distance below nought.
    pub fn new(name: impl Into<String>, first_age: u32, years: Vec<Year>) -> Result<Self, MileageError> {
        let name = name.into();
        let refuse = |row: usize, why: &'static str| Err(MileageError::Schedule { name: name.clone(), row, why });
        let mut before = 1.0;
        for (row, year) in years.iter().enumerate() {
            if !(year.survival >= 0.0 && year.survival <= before) {
                return refuse(row, "its share in use is not between nought and that of the row before");
            }
            if !(year.travel.is_finite() && year.travel >= 0.0) {
                return refuse(row, "its distance is no number from nought up");
            }
            before = year.survival;
        }
        if !years.iter().any(|year| year.survival * year.travel > 0.0) {
            return refuse(0, "no row has any travel by anything in use");
        }
        Ok(Self { name, first_age, years })
    }

    /// The name of the source.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The row of an age, counted as the table counts.
    #[must_use]
    pub fn year(&self, age: u32) -> Option<Year> {
        let row = usize::try_from(age.checked_sub(self.first_age)?).ok()?;
        self.years.get(row).copied()
    }

    /// The chance that a whole in use at one age is in use at a later one; nothing where the table has no such row.
    #[must_use]
    pub fn survival(&self, from: u32, to: u32) -> Option<f64> {
        let now = self.in_use(from)?;
        Some(self.year(to)?.survival / now)
    }

    /// Expected travel over a whole life.
    #[must_use]
    pub fn lifetime_travel(&self) -> f64 {
        self.years.iter().map(|year| year.survival * year.travel).sum()
    }

    /// Expected travel still to come for a whole in use at an age, in the years after that one.
    #[must_use]
    pub fn travel_left(&self, age: u32) -> Option<f64> {
        let now = self.in_use(age)?;
        let later = self.rows().filter(|(a, _)| *a > age);
        Some(later.map(|(_, year)| year.survival * year.travel).sum::<f64>() / now)
    }

    /// Mean distance behind a whole in use after so many years, evenly within a year; beyond the table its last year goes on.
    #[must_use]
    pub fn travelled(&self, years: f64) -> f64 {
        let (mut left, mut sum, mut last) = (years.max(0.0), 0.0, 0.0);
        for year in &self.years {
            last = year.travel;
            let part = left.min(1.0);
            sum += part * last;
            left -= part;
        }
        sum + left * last
    }

    /// The age at which half are still in use, in a straight line between rows; nothing if the table does not go so far.
    #[must_use]
    pub fn median_age(&self) -> Option<f64> {
        self.rows().zip(self.rows().skip(1)).find_map(|((age, a), (_, b))| {
            let crosses = a.survival >= 0.5 && b.survival < 0.5;
            crosses.then(|| f64::from(age) + (a.survival - 0.5) / (a.survival - b.survival))
        })
    }

    /// Expected years in use: the sum of the shares.
    #[must_use]
    pub fn expected_years(&self) -> f64 {
        self.years.iter().map(|year| year.survival).sum()
    }

    /// What a distance over the whole life is worth today as a share of itself, each year's taken at its middle.
    #[must_use]
    pub fn present_value(&self, yearly_rate: f64) -> f64 {
        let mut middle = 0.5;
        let mut sum = 0.0;
        for year in &self.years {
            sum += year.survival * year.travel * (1.0 + yearly_rate).powf(-middle);
            middle += 1.0;
        }
        sum / self.lifetime_travel()
    }

    /// Ages in the middle of each year with their chances, for a whole in use of which nothing else is known.
    #[must_use]
    pub fn ages_in_use(&self) -> Vec<(f64, f64)> {
        let all = self.expected_years();
        self.middles().map(|(age, year)| (age, year.survival / all)).collect()
    }

    /// Ages with their chances at the end of use, for a loose part of which nothing else is known; those in use beyond the
    /// table end with its last row.
    #[must_use]
    pub fn ages_at_end(&self) -> Vec<(f64, f64)> {
        let after = self.years.iter().skip(1).map(|year| year.survival).chain([0.0]);
        let before_all = self.years.first().map_or(1.0, |year| year.survival);
        self.middles().zip(after).map(|((age, year), next)| (age + 0.5, (year.survival - next) / before_all)).collect()
    }

    /// The share in use at an age, where there is any.
    fn in_use(&self, age: u32) -> Option<f64> {
        self.year(age).map(|year| year.survival).filter(|share| *share > 0.0)
    }

    fn rows(&self) -> impl Iterator<Item = (u32, &Year)> {
        (self.first_age..).zip(&self.years)
    }

    fn middles(&self) -> impl Iterator<Item = (f64, &Year)> {
        (0_u32..).map(|row| f64::from(row) + 0.5).zip(&self.years)
    }
}
