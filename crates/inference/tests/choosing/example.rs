//! The worked example of `reference/choosing`, read from its file.

#![expect(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "a file beside the tests either has what they need, or they fail"
)]

use inference::compare::{
    Age, AgeBelief, Choice, Cover, DAYS, Doubtful, FailureMode, Fitted, KINDS, Law, Price, Surprise, Way,
};
use inference::life::{Belief, LifePrior};
use serde_json::Value;

fn doubtful(value: &Value) -> Doubtful {
    Doubtful { middle: value["middle"].as_f64().unwrap(), spread_ln: value["spread_ln"].as_f64().unwrap() }
}

fn law(value: &Value) -> Law {
    if value.is_null() {
        return Law::NOUGHT;
    }
    if let Some(known) = value.as_f64() {
        return Law::Known(known);
    }
    if value["middle"].is_number() {
        let Doubtful { middle, spread_ln } = doubtful(value);
        return Law::ByFactor { middle, spread_ln };
    }
    let [low, likely, high] = ["low", "likely", "high"].map(|name| value[name].as_f64().unwrap());
    if value["sides"] == "straight" {
        Law::Triangular { low, likely, high }
    } else {
        Law::Rounded { low, likely, high }
    }
}

fn text(value: &Value) -> String {
    value.as_str().unwrap().to_owned()
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

/// Reads a choice without warranties by years, nodes of ages or shared treatment, which the example does not have.
#[must_use]
pub(crate) fn choice(file: &str) -> Choice {
    let all: Value = serde_json::from_str(file).unwrap();
    let place = |of: &str, name: &Value| list(&all[of]).iter().position(|one| one["name"] == *name).unwrap();
    let ages = list(&all["ages"]).iter().map(|age| Age {
        name: text(&age["name"]),
        belief: AgeBelief::Doubtful(doubtful(&age["miles"])),
        own: age["own"] == true,
    });
    let prices = list(&all["prices"]).iter().map(|price| Price {
        name: text(&price["name"]),
        currency: text(&price["currency"]),
        amount: law(&price["amount"]),
    });
    let belief = |value: &Value| {
        let Doubtful { middle, spread_ln } = doubtful(value);
        Belief { mean: middle.ln(), spread: spread_ln }
    };
    let modes = list(&all["modes"]).iter().map(|mode| FailureMode {
        name: text(&mode["name"]),
        life: LifePrior::on_scale(belief(&mode["shape"]), belief(&mode["scale_miles"])).unwrap(),
        reached: Vec::new(),
        serious: mode["serious"] == true,
        ends: mode["ends"] == true,
        takes: ["labour", "parts", "tow", "days"].map(|kind| law(&mode[kind])),
    });
    let way = |option: &Value| Way {
        name: text(&option["name"]),
        buys: list(&option["buys"])
            .iter()
            .map(|buy| (place("prices", &buy["price"]), buy["times"].as_f64().unwrap()))
            .collect(),
        days: Law::NOUGHT,
        surprises: list(&option["on_top"])
            .iter()
            .map(|one| Surprise {
                name: text(&one["name"]),
                chance: one["chance"].as_f64().unwrap(),
                amount: law(&one["amount"]),
                days: Law::NOUGHT,
            })
            .collect(),
        fitted: list(&all["modes"])
            .iter()
            .map(|mode| {
                let fitted = option["fitted"].get(mode["name"].as_str()?)?;
                let age = (fitted["age"] != "new").then(|| place("ages", &fitted["age"]));
                let strain = fitted["strain"].as_f64().unwrap_or(1.0);
                Some(Fitted { age, strain, covered: fitted["covered"] == true })
            })
            .collect(),
        covers: list(&option["warranties"])
            .iter()
            .map(|cover| Cover {
                party: text(&cover["by"]),
                until_travel: cover["until_miles"].as_f64().unwrap(),
                until_years: f64::INFINITY,
                pays: [cover["pays"].as_f64().unwrap(); KINDS],
            })
            .collect(),
        left: Law::NOUGHT,
        left_when_ended: 1.0,
    };
    assert_eq!(DAYS, 3, "the days are the last of what a failure takes");
    Choice {
        currency: text(&all["currency"]),
        years: all["horizon_years"].as_f64().unwrap(),
        yearly: doubtful(&all["yearly_miles"]),
        interest: all["interest_per_year"].as_f64().unwrap(),
        treatment: None,
        standing: None,
        ages: ages.collect(),
        prices: prices.collect(),
        modes: modes.collect(),
        ways: list(&all["options"]).iter().map(way).collect(),
    }
}
