//! `life compare`: which of several repair options costs least, and what that hangs on.

use std::path::PathBuf;

use clap::Args;
use documents::pictures::{SpreadLine, cost_spreads};
use inference::compare::{
    Choice, CompareError, Hinge, Means, Ranking, Spread, Turn, hangs_on, means, ranking, spread, turns,
};
use quantity::print::printed;
use serde_json::{Value, json};

use super::form::Form;
use crate::desk::{Desk, write_file};
use crate::talk::Tone;
use crate::trouble::{Done, Exit, Trouble};

/// Draws for what the difference hangs on, which are made once for each thing in doubt.
const HANGING_DRAWS: usize = 8192;
/// How many of a list are said in words.
const SAID: usize = 4;
/// A thing that carries less than this of the spread is not said in words.
const LITTLE: f64 = 0.02;

#[derive(Debug, Args)]
pub(super) struct Compare {
    /// A TOML or JSON file with the options, their prices, lives and warranties; the handbook (Choose) says what it holds.
    file: PathBuf,
    /// How many draws the spread is taken from; a power of two fills the space most evenly.
    #[arg(long, default_value_t = 65_536)]
    draws: usize,
    /// The same seed gives the same draws; another tells how sure a share is.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Write the spread of the costs as a picture into this SVG file.
    #[arg(long)]
    picture: Option<PathBuf>,
    /// Write over an existing picture.
    #[arg(long, requires = "picture")]
    force: bool,
}

/// All that was worked out.
struct Compared {
    choice: Choice,
    means: Means,
    spread: Spread,
    ranking: Ranking,
    hangs_on: Vec<(String, f64)>,
    turns: Vec<Turn>,
}

impl Compare {
    pub(super) fn run(&self, desk: &Desk) -> Done {
        let form = Form::read(&self.file)?;
        let wrong =
            |why: String| Trouble::new(Exit::Usage, format!("compare the options of {}", self.file.display()), why);
        let choice = form.choice().map_err(wrong)?;
        let compared = self.compared(choice).map_err(|error| wrong(error.to_string()))?;
        if let Some(path) = &self.picture {
            write_file(path, compared.picture().as_bytes(), self.force)?;
        }
        let t = &desk.talk;
        if t.json() {
            t.answer(&compared.as_json(self.seed))?;
        } else {
            compared.say(desk)?;
        }
        Ok(Exit::Fine)
    }

    fn compared(&self, choice: Choice) -> Result<Compared, CompareError> {
        let (means, spread) = (means(&choice)?, spread(&choice, self.draws, self.seed)?);
        let ranking = ranking(&means, &spread);
        let hangs_on = match ranking.on_average[..] {
            [first, second, ..] => hangs_on(&choice, [first, second], HANGING_DRAWS, self.seed)?,
            _ => Vec::new(),
        };
        let turns = turns(&choice)?;
        Ok(Compared { choice, means, spread, ranking, hangs_on, turns })
    }
}

fn percent(share: f64) -> String {
    format!("{} %", printed(100.0 * share, 2))
}

fn kind(hinge: Hinge) -> &'static str {
    match hinge {
        Hinge::Price => "price",
        Hinge::Yearly => "miles a year",
        Hinge::Age => "age in miles",
        Hinge::Life => "life in miles",
    }
}

impl Compared {
    fn name(&self, way: usize) -> &str {
        self.choice.ways.get(way).map_or("", |way| way.name.as_str())
    }

    fn money(&self, amount: f64) -> String {
        // Adding nought makes nought of minus nought.
        format!("{}\u{a0}{}", amount.round() + 0.0, self.choice.currency)
    }

    fn picture(&self) -> String {
        let lines = self.ranking.on_average.iter().filter_map(|&way| {
            let (mean, drawn) = (self.means.ways.get(way)?, self.spread.ways.get(way)?);
            let [_, tenth, quarter, half, three_quarters, ninetieth, _] = drawn.below;
            let name = self.name(way).to_owned();
            Some(SpreadLine {
                name,
                mean: mean.cost,
                below: [tenth, quarter, half, three_quarters, ninetieth],
                cheapest: drawn.cheapest,
            })
        });
        cost_spreads(&lines.collect::<Vec<_>>(), &self.choice.currency)
    }

    fn as_json(&self, seed: u64) -> Value {
        let parties = &self.means.parties;
        let options = self.means.ways.iter().zip(&self.spread.ways).zip(&self.ranking.places).enumerate();
        let options = options.map(|(way, ((mean, drawn), place))| {
            let others: serde_json::Map<String, Value> =
                parties.iter().zip(&mean.others).map(|(party, paid)| (party.clone(), json!(paid))).collect();
            let modes = self.choice.modes.iter().zip(&mean.comes).zip(&mean.by_mode);
            let modes = modes.map(|((mode, chance), cost)| json!({"mode": mode.name, "chance": chance, "cost": cost}));
            let [_, tenth, _, half, _, ninetieth, _] = drawn.below;
            json!({"name": self.name(way), "mean_cost": mean.cost, "bought": mean.bought, "on_top": mean.surprises,
                "standing": mean.standing, "failures": mean.failures, "value_left": mean.left, "paid_by_others": others,
                "trouble_free_chance": mean.trouble_free, "no_end_chance": mean.goes_on, "cost_10": tenth, "cost_50": half,
                "cost_90": ninetieth, "spread": drawn.spread, "cheapest_chance": drawn.cheapest, "regret": drawn.regret,
                "behind_first": place.behind, "break_even_price": place.break_even,
                "break_even_price_half_the_time": place.break_even_half, "failures_by_mode": modes.collect::<Vec<_>>()})
        });
        let hangs_on = self.hangs_on.iter().map(|(what, share)| json!({"what": what, "share_of_spread": share}));
        let turns = self.turns.iter().map(|turn| {
            json!({"what": turn.what, "kind": kind(turn.hinge), "now": turn.now, "at": turn.at, "chance": turn.chance,
                "first_then": self.name(turn.to)})
        });
        json!({"currency": self.choice.currency, "horizon_years": self.choice.years, "options": options.collect::<Vec<_>>(),
            "cheapest_on_average": self.name(self.ranking.first()), "most_often_cheapest": self.name(self.ranking.most_often),
            "they_differ": self.ranking.differ(), "first_below_second_chance": self.ranking.sure,
            "difference_hangs_on": hangs_on.collect::<Vec<_>>(), "would_turn_first_place": turns.collect::<Vec<_>>(),
            "draws": self.spread.draws, "effective_draws": self.spread.effective, "seed": seed})
    }

    fn say(&self, desk: &Desk) -> Result<(), Trouble> {
        let t = &desk.talk;
        let years = printed(self.choice.years, 3);
        t.line(&format!("Over {years} years, all in {}, failures at their present value:", self.choice.currency), 2)?;
        for &way in &self.ranking.on_average {
            self.say_way(desk, way)?;
        }
        let (first, often) = (self.ranking.first(), self.ranking.most_often);
        t.gap()?;
        let average = t.tone(Tone::Strong, self.name(first));
        if self.ranking.differ() {
            let often = t.tone(Tone::Strong, self.name(often));
            t.line(&format!("Cheapest on average: {average}. Most often the cheapest: {often}. They differ: the second is cheap most times and dear in the rest."), 2)?;
        } else {
            t.line(&format!("Cheapest on average and most often the cheapest: {average}."), 2)?;
        }
        if let [first, second, ..] = self.ranking.on_average[..] {
            let times = printed(10.0 * self.ranking.sure, 2);
            t.line(&format!("{} costs less than {} {times} times in ten.", self.name(first), self.name(second)), 2)?;
        }
        self.say_hinges(desk)
    }

    fn say_way(&self, desk: &Desk, way: usize) -> Result<(), Trouble> {
        let t = &desk.talk;
        let (Some(mean), Some(drawn), Some(place)) =
            (self.means.ways.get(way), self.spread.ways.get(way), self.ranking.places.get(way))
        else {
            return Ok(());
        };
        let [_, tenth, _, _, _, ninetieth, _] = drawn.below;
        t.line(
            &format!(
                "{}: {} on average, eight times in ten {} to {}; cheapest {}, without serious trouble {}",
                t.tone(Tone::Strong, self.name(way)),
                self.money(mean.cost),
                tenth.round(),
                ninetieth.round(),
                percent(drawn.cheapest),
                percent(mean.trouble_free)
            ),
            2,
        )?;
        let mut parts =
            vec![format!("bought {}", self.money(mean.bought)), format!("failures {}", self.money(mean.failures))];
        for (what, amount) in [("what may come on top", mean.surprises), ("standing", mean.standing)] {
            if amount.abs() >= 0.5 {
                parts.push(format!("{what} {}", self.money(amount)));
            }
        }
        if mean.left.abs() >= 0.5 {
            parts.push(format!("less {} left at the end", self.money(mean.left)));
        }
        let others = self.means.parties.iter().zip(&mean.others).filter(|(_, paid)| **paid >= 0.5);
        parts.extend(others.map(|(party, paid)| format!("{party} pays {}", self.money(*paid))));
        t.line(&format!("  {}", parts.join(", ")), 4)?;
        let price = match (way == self.ranking.first(), place.break_even) {
            (true, Some(price)) => format!("stays first on average until its prices come to {}", self.money(price)),
            (false, Some(price)) => format!("would be first on average at prices of {}", self.money(price)),
            (_, None) => "no price makes it first on average".to_owned(),
        };
        t.line(
            &format!(
                "  {price}; taken instead of the best of each case it costs {} too much on average",
                self.money(drawn.regret)
            ),
            4,
        )?;
        Ok(())
    }

    fn say_hinges(&self, desk: &Desk) -> Result<(), Trouble> {
        let t = &desk.talk;
        let heavy: Vec<String> = self
            .hangs_on
            .iter()
            .filter(|(_, share)| *share >= LITTLE)
            .take(SAID)
            .map(|(what, share)| format!("{what} ({})", percent(*share)))
            .collect();
        if !heavy.is_empty() {
            t.line(
                &format!(
                    "The difference of the first two hangs on: {}. Find out the first of them first.",
                    heavy.join(", ")
                ),
                2,
            )?;
        }
        if self.turns.is_empty() {
            t.line("No single price, age or life would turn first place.", 2)?;
        }
        for turn in self.turns.iter().take(SAID) {
            let likely = if turn.chance < 5e-4 {
                "the file leaves no room for that".to_owned()
            } else {
                format!("the chance of that or beyond is {}", percent(turn.chance))
            };
            let figure = |x: f64| if turn.hinge == Hinge::Price { self.money(x) } else { printed(x, 3) };
            t.line(
                &format!(
                    "It would turn to {} with {} ({}) at {} instead of {}; {likely}.",
                    self.name(turn.to),
                    turn.what,
                    kind(turn.hinge),
                    figure(turn.at),
                    figure(turn.now)
                ),
                2,
            )?;
        }
        Ok(())
    }
}
