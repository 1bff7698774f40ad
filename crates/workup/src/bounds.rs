//! What the customer cannot go beyond: money to pay, the day by which it must run, a bill in the bad case.
//!
//! Each strikes options out, with its reason and the entry that told it; told otherwise or taken back, the options are there
//! again. A ceiling that was approved is something else: it holds what is spent (docs/decisions/0017), and no option is struck
//! out by it.

use std::borrow::Cow;

use anatomy::Known;
use jiff::civil::Date;
use logbook::{Fact, JobState, LimitsTold};
use quantity::Money;
use rayon::prelude::*;

use crate::advice::Scene;
use crate::choosing;
use crate::money::{OptionHere, StruckOut};
use crate::notice::Notice;
use crate::words;

/// What an option must keep below more often than once in ten \[ours\].
const MOSTLY: f64 = 0.9;

/// The limits of a job that hold now, each with the entry that told it.
#[derive(Debug, Clone, Copy, Default)]
pub struct Bounds<'a> {
    /// The most that may be paid for putting it right.
    pub most: Option<(&'a Money, &'a Fact<LimitsTold>)>,
    /// The day by which it must run.
    pub ready_by: Option<(Date, &'a Fact<LimitsTold>)>,
    /// A bill in the bad case, and whether it could be borne.
    pub bad_bill: Option<(&'a Money, Known, &'a Fact<LimitsTold>)>,
}

impl<'a> Bounds<'a> {
    /// Those told last.
    #[must_use]
    pub fn of(state: &'a JobState) -> Self {
        let told = || state.limits.iter().rev();
        Self {
            most: told().find_map(|f| Some((f.body.most.as_ref()?, f))),
            ready_by: told().find_map(|f| Some((f.body.ready_by?, f))),
            bad_bill: told().find_map(|f| Some((f.body.bad_bill.as_ref()?, f.body.bears?, f))),
        }
    }

    /// The bill that could not be borne.
    fn unbearable(&self) -> Option<(&'a Money, &'a Fact<LimitsTold>)> {
        self.bad_bill.filter(|(_, bears, _)| *bears == Known::No).map(|(bill, _, fact)| (bill, fact))
    }

    /// The amounts that strike options out.
    fn amounts(&self) -> impl Iterator<Item = (&'a Money, &'a Fact<LimitsTold>)> {
        self.most.into_iter().chain(self.unbearable())
    }
}

/// The day of the newest entry: how the record counts days, for it has no clock.
fn today(state: &JobState) -> Option<Date> {
    let newest = state.history.iter().map(|line| line.at).max()?;
    newest.to_string().get(..10)?.parse().ok()
}

/// Limits in money that cannot be held against options, as things to put right.
pub(crate) fn odd(state: &JobState) -> Vec<Notice> {
    let rate = state.rates.labour_rate.as_ref();
    let what = |(limit, fact): (&Money, &Fact<LimitsTold>)| {
        let (message, next): (Cow<'_, str>, &str) = match rate {
            None => (
                format!("the limit of {limit} is held against nothing: no price of a billed hour is told").into(),
                "tell the price of a billed hour",
            ),
            Some(rate) if rate.currency() != limit.currency() => (
                format!(
                    "the limit of {limit} is held against nothing: the hour is priced in {}",
                    rate.currency().code()
                )
                .into(),
                "tell the limit in the currency of the hour",
            ),
            Some(_) => return None,
        };
        Some(Notice::new("limit-not-held", &fact.in_entry.to_string(), message, next))
    };
    Bounds::of(state).amounts().filter_map(what).collect()
}

/// Per choice: what of the limits strikes it out.
pub(crate) fn beyond(scene: &Scene<'_, '_>, options: &[OptionHere<'_>]) -> Vec<Option<StruckOut>> {
    let bounds = Bounds::of(scene.state);
    let mut out = vec![None; options.len()];
    if let Some((day, fact)) = bounds.ready_by
        && let Some(today) = today(scene.state)
    {
        let left = today.until(day).map_or(0, |span| span.get_days());
        strike(&mut out, fact, options.iter().map(|o| too_late(o, day, left)));
    }
    let Some((rate, hour)) = scene.terms.rate.zip(scene.state.rates.labour_rate.as_ref()) else { return out };
    let same = |(limit, _): &(&Money, &Fact<LimitsTold>)| limit.currency() == hour.currency();
    let said = |amount: f64| format!("{}\u{a0}{}", hour.currency().code(), words::grouped(amount));
    if let Some((most, fact)) = bounds.most.filter(same) {
        let most = most.to_f64();
        let prices: Vec<f64> = options.par_iter().map(|o| rate * to_pay(scene, o)).collect();
        let why = |price: &f64| {
            let over = price - most;
            (over > 0.0).then(|| {
                format!("may ask {} to pay, {} more than the {} that may be paid", said(*price), said(over), said(most))
            })
        };
        strike(&mut out, fact, prices.iter().map(why));
    }
    if let Some((bill, fact)) = bounds.unbearable().filter(same) {
        let bill = bill.to_f64();
        let bad = choosing::bad_cases(scene, options);
        let why = |cost: &f64| {
            let cost = rate * cost;
            (cost >= bill)
                .then(|| format!("comes to {} in the bad case, and {} could not be borne", said(cost), said(bill)))
        };
        strike(&mut out, fact, bad.iter().map(why));
    }
    out
}

fn strike(out: &mut [Option<StruckOut>], fact: &Fact<LimitsTold>, whys: impl Iterator<Item = Option<String>>) {
    for (place, why) in out.iter_mut().zip(whys) {
        if place.is_none() {
            *place = why.map(|why| StruckOut { why, entry: Some(fact.in_entry.to_string()), reading: None });
        }
    }
}

fn too_late(option: &OptionHere<'_>, day: Date, left: i32) -> Option<String> {
    if option.option.residual.as_ref().is_some_and(|r| r.car_lost) {
        return Some(format!("leaves nothing that runs on {day}"));
    }
    let worst = option.days[1];
    (worst > f64::from(left)).then(|| match left {
        ..=0 => format!("may take {worst:.0} days, and {day} is here"),
        left => format!("may take {worst:.0} days, and {left} are left until {day}"),
    })
}

/// What an option asks to pay now at most, but once in ten, in labour units.
fn to_pay(scene: &Scene<'_, '_>, option: &OptionHere<'_>) -> f64 {
    let price = |d: usize| {
        let states = scene.draws.draw(d);
        let classes: Vec<usize> = scene.blocks.iter().map(|b| b.class_in(states)).collect();
        option.bill(states, &classes).price.hi
    };
    let mut prices: Vec<f64> = (0..scene.draws.count).map(price).collect();
    choosing::quantile(&mut prices, MOSTLY)
}
