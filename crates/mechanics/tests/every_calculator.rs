//! What holds for every calculator of the catalogue, whatever is typed: no panic, no figure that is not finite, and a refusal
//! that names the key and says what is wanted.

#![expect(clippy::panic, clippy::indexing_slicing, reason = "the helpers of a test may fail it")]

use mechanics::doubt::{COMMON_KEYS, Share};
use mechanics::{Answer, CalcError, Calculator, Input, InputKind, calculate, catalogue};
use quantity::Unit;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{RngCore, SeedableRng};

/// Typed inputs tried for each calculator.
const TRIES: u32 = 10_000;

/// Inputs that bring out results which need several rarely met keys at once.
const FURTHER: &[(&str, &[(&str, &str)])] = &[
    (
        "conformity",
        &[
            ("value", "1 mm ± 0.1 mm"),
            ("upper", "1.1 mm"),
            ("repeatability", "0.09 mm"),
            ("process_mean", "1 mm"),
            ("process_spread", "0.1 mm"),
        ],
    ),
    ("fit", &[("size", "25 mm"), ("hole", "H7"), ("shaft", "g6")]),
    (
        "seat-fit",
        &[
            ("diameter", "36 mm"),
            ("wanted_force", "2 kN"),
            ("head_material", "aluminium"),
            ("seat_material", "steel"),
            ("head_rise", "160 K"),
            ("seat_rise", "240 K"),
            ("boss_diameter", "60 mm"),
            ("seat_inner_diameter", "30 mm"),
            ("depth", "6 mm"),
            ("friction", "0.15"),
        ],
    ),
];

struct Typist(ChaCha8Rng);

impl Typist {
    fn below(&mut self, count: usize) -> usize {
        let draw = u64::from(self.0.next_u32()) * u64::try_from(count).unwrap_or(1);
        usize::try_from(draw >> 32).unwrap_or(0)
    }

    fn part(&mut self) -> f64 {
        f64::from(self.0.next_u32()) / 4_294_967_296.0
    }

    fn pick<'a>(&mut self, of: &[&'a str]) -> &'a str {
        of[self.below(of.len())]
    }

    /// A number of any size and sign, as somebody or a broken program would type it.
    fn number(&mut self) -> String {
        let sign = self.pick(&["", "", "", "-", "+"]);
        let body = match self.below(9) {
            0 => self.pick(&["0", "-0", "1", "100", "0.5", "1e-320", "1e308", "12 3/4", "1,234", "007"]).to_owned(),
            1 => format!("{:e}", 10.0_f64.powf(self.part() * 600.0 - 300.0)),
            2 => format!("{:.3}", self.part()),
            3 => format!("{}", 10.0_f64.powf(self.part() * 12.0 - 6.0)),
            4 => format!("{}", self.below(200)),
            _ => format!("{:.4}", self.part() * 100.0),
        };
        format!("{sign}{body}")
    }

    fn unit(&mut self, input: &Input) -> &'static str {
        match (input.unit, self.below(8)) {
            (Some(unit), 0..=4) => unit.symbol(),
            (Some(unit), 5) => {
                let alike: Vec<&str> = Unit::of(unit.dimension()).map(Unit::symbol).collect();
                alike[self.below(alike.len())]
            }
            (_, 6) => "",
            _ => Unit::ALL[self.below(Unit::ALL.len())].symbol(),
        }
    }

    fn garbage(&mut self) -> String {
        self.pick(
            &[
                "",
                " ",
                "NaN",
                "inf",
                "-inf",
                "±",
                "x",
                "\u{0}",
                "🙂",
                "1;2",
                "1,2,3",
                ";;;",
                "\n\n",
                "a:b:c",
                "|||",
                "= =",
                "1 mm ± -1 mm",
                "9".repeat(400).as_str(),
                "(k=0)",
                "88mm±0.01mm (k=0)",
                "°",
                "1e99999",
                "--5",
                "5 mm 5 mm",
            ]
            .map(|text| Box::leak(text.to_owned().into_boxed_str()) as &str),
        )
        .to_owned()
    }

    fn table(&mut self) -> String {
        let rows = 1 + self.below(12);
        let columns = 1 + self.below(4);
        let apart = self.pick(&[",", " ", ", ", ";", "\t"]);
        let calm = self.below(3) > 0;
        let lines: Vec<String> = (0..rows)
            .map(|row| {
                let columns = if self.below(40) == 0 { 1 + self.below(5) } else { columns };
                let cells: Vec<String> = (0..columns)
                    .map(|column| match (calm, column) {
                        (true, 0) => format!("{}", row * 30),
                        (true, _) => format!("{:.3}", 40.0 + self.part() * 0.1),
                        (false, _) => self.number(),
                    })
                    .collect();
                cells.join(apart)
            })
            .collect();
        lines.join(self.pick(&["\n", ";"]))
    }

    /// The example's lines with words dropped, doubled and exchanged.
    fn lines(&mut self, example: Option<&str>) -> String {
        let mut words: Vec<String> = example
            .unwrap_or("part, a, 1")
            .split_inclusive([',', ';', ' ', '/', ':', '\n'])
            .map(str::to_owned)
            .collect();
        for _ in 0..self.below(4) {
            if words.is_empty() {
                break;
            }
            let place = self.below(words.len());
            match self.below(4) {
                0 => {
                    words.remove(place);
                }
                1 => words.insert(place, words[place].clone()),
                2 => {
                    let number = self.number();
                    words[place] = number + ",";
                }
                _ => {
                    let garbage = self.garbage();
                    words[place] = garbage;
                }
            }
        }
        words.concat()
    }

    fn text(&mut self, input: &Input, example: Option<&str>) -> String {
        if self.below(30) == 0 {
            return self.garbage();
        }
        match input.kind {
            InputKind::Number => {
                let (number, unit) = (self.number(), self.unit(input));
                match self.below(4) {
                    0 => format!("{number} {unit} ± {} {unit}", self.number().trim_start_matches(['-', '+'])),
                    1 => format!("{number}{unit}"),
                    _ => format!("{number} {unit}"),
                }
            }
            InputKind::Choice => input.choices[self.below(input.choices.len())].to_owned(),
            InputKind::Table => self.table(),
            InputKind::Lines => self.lines(example),
            InputKind::Text => match self.below(3) {
                0 => self.number(),
                1 => self.pick(&["mm", "EUR", "JPY", "XAU", "°C", "all", "8.25 %", "0.25 0.5 mm"]).to_owned(),
                _ => self.lines(example),
            },
        }
    }

    /// A call in which one input of a good one is another: what a person types who slips once.
    fn slip(&mut self, entry: &Calculator) -> Vec<(String, String)> {
        let further = FURTHER.iter().filter(|(id, _)| *id == entry.id).map(|(_, pairs)| *pairs);
        let good: Vec<_> = std::iter::once(entry.example).chain(further).collect();
        let good = good[self.below(good.len())];
        let input = &entry.inputs[self.below(entry.inputs.len())];
        let example = good.iter().find(|(key, _)| *key == input.key).map(|(_, text)| *text);
        let kept = good.iter().filter(|(key, _)| *key != input.key);
        let mut pairs: Vec<_> = kept.map(|(key, text)| ((*key).to_owned(), (*text).to_owned())).collect();
        // Some inputs stand instead of another, so now and then another is left out.
        if self.below(3) == 0 && !pairs.is_empty() {
            let place = self.below(pairs.len());
            pairs.remove(place);
        }
        pairs.push((input.key.to_owned(), self.text(input, example)));
        pairs
    }

    fn pairs(&mut self, entry: &Calculator) -> Vec<(String, String)> {
        if self.below(2) == 0 {
            return self.slip(entry);
        }
        let mut pairs = Vec::new();
        let wild = 1 + self.below(4);
        for input in entry.inputs {
            let example = entry.example.iter().find(|(key, _)| *key == input.key).map(|(_, text)| *text);
            match (self.below(6), example) {
                (0, _) if self.below(wild) == 0 => {}
                (0..=2, _) => pairs.push((input.key.to_owned(), self.text(input, example))),
                (_, Some(example)) if input.kind == InputKind::Table && self.below(4) > 0 => {
                    // Mostly the first rows only: a search over few readings meets the same branches sooner.
                    let rows: Vec<&str> = example.split(';').collect();
                    let kept = 1 + self.below(rows.len());
                    pairs.push((input.key.to_owned(), rows[..kept].join(";")));
                }
                (_, Some(example)) => pairs.push((input.key.to_owned(), example.to_owned())),
                (_, None) => {}
            }
        }
        if self.below(10) == 0 {
            let a = entry.inputs[self.below(entry.inputs.len())].key;
            let b = entry.inputs[self.below(entry.inputs.len())].key;
            let r = self.pick(&["", ":0.5", ":-1", ":7", ":"]);
            pairs.push(("one_gauge".to_owned(), format!("{a},{b}{r}")));
        }
        if self.below(200) == 0 {
            pairs.push(("draws".to_owned(), self.pick(&["1", "many", "", "-5", "99999999999"]).to_owned()));
        }
        if self.below(400) == 0 {
            pairs.push((self.garbage(), self.number()));
        }
        pairs
    }
}

fn all_finite(answer: &Answer) -> bool {
    let share = |share: &Share| share.share.is_finite() && share.sensitivity.is_finite() && share.u.is_finite();
    answer.results.iter().all(|line| line.value.is_finite() && line.u.is_none_or(|u| u.is_finite() && u >= 0.0))
        && answer.budget.iter().all(|(_, shares)| shares.iter().all(share))
}

/// What a refusal must name: its key, or the calculator where several keys do not go together; and a next move.
fn names_what_is_wrong(error: &CalcError, entry: &Calculator) -> Result<(), String> {
    let message = error.to_string();
    let named = match error {
        CalcError::UnknownKey { key, .. } => {
            message.contains(key.escape_debug().to_string().as_str()) || message.contains(key)
        }
        CalcError::Twice { key, .. }
        | CalcError::WrongUnit { key, .. }
        | CalcError::Ambiguous { key, .. }
        | CalcError::NotRead { key, .. } => message.contains(key.as_str()),
        CalcError::OutOfDomain { key, why, .. } => message.contains(key.as_str()) && why.len() > 12,
        CalcError::BadTable { key, why, .. } => message.contains(key.as_str()) && why.len() > 12,
        CalcError::MissingKey { key, .. } => message.contains(key) && message.contains("add"),
        CalcError::DoNotGoTogether { why, .. } => message.contains(entry.id) && why.len() > 12,
        CalcError::UnknownCalculator { .. } => false,
    };
    if named && !message.ends_with('.') { Ok(()) } else { Err(message) }
}

fn try_one(entry: &'static Calculator, seed: u64) {
    let mut typist = Typist(ChaCha8Rng::seed_from_u64(seed));
    let (mut answered, mut refused) = (0_u32, 0_u32);
    for _ in 0..TRIES {
        let typed = typist.pairs(entry);
        let pairs: Vec<(&str, &str)> = typed.iter().map(|(key, text)| (key.as_str(), text.as_str())).collect();
        let reply = std::panic::catch_unwind(|| entry.calculate(&pairs))
            .unwrap_or_else(|_| panic!("{} panics on {pairs:?}", entry.id));
        match reply {
            Ok(answer) => {
                answered += 1;
                assert!(all_finite(&answer), "{} {pairs:?}: {answer:?}", entry.id);
            }
            Err(error) => {
                refused += 1;
                if let Err(message) = names_what_is_wrong(&error, entry) {
                    panic!("{} {pairs:?}: {message:?} {error:?}", entry.id);
                }
            }
        }
    }
    // A generator that only ever meets the first check of a calculator would prove nothing.
    assert!(answered >= TRIES / 200 && refused >= TRIES / 200, "{}: {answered} answered, {refused} refused", entry.id);
}

#[test]
fn whatever_is_typed_the_answer_is_finite_or_a_refusal_that_names_its_key() {
    let all: Vec<(u64, &'static Calculator)> = (1000..).zip(catalogue()).collect();
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for worker in 0..workers {
            let mine: Vec<_> = all.iter().skip(worker).step_by(workers).copied().collect();
            scope.spawn(move || {
                for (seed, entry) in mine {
                    try_one(entry, seed);
                }
            });
        }
    });
}

#[test]
fn every_example_answers_and_every_declared_result_can_come_out() {
    for entry in catalogue() {
        let answer = calculate(entry.id, entry.example).unwrap_or_else(|error| panic!("{}: {error}", entry.id));
        assert!(all_finite(&answer), "{}", entry.id);
        for line in &answer.results {
            assert!(entry.outputs.iter().any(|output| output.key == line.key), "{} {}", entry.id, line.key);
        }
        // Results that the example leaves out come out for some other input.
        let mut missing: Vec<&str> =
            entry.outputs.iter().map(|output| output.key).filter(|key| answer.line(key).is_none()).collect();
        for (_, pairs) in FURTHER.iter().filter(|(id, _)| *id == entry.id) {
            let answer = entry.calculate(pairs).unwrap_or_else(|error| panic!("{}: {error}", entry.id));
            missing.retain(|key| answer.line(key).is_none());
        }
        let mut typist = Typist(ChaCha8Rng::seed_from_u64(77));
        for _ in 0..60_000 {
            if missing.is_empty() {
                break;
            }
            let typed = typist.pairs(entry);
            let pairs: Vec<(&str, &str)> = typed.iter().map(|(key, text)| (key.as_str(), text.as_str())).collect();
            if let Ok(answer) = entry.calculate(&pairs) {
                missing.retain(|key| answer.line(key).is_none());
            }
        }
        assert!(missing.is_empty(), "{} never answers {missing:?}", entry.id);
    }
}

#[test]
fn the_keys_of_every_calculator_are_listed_with_it() {
    for entry in catalogue() {
        let listing = serde_json::to_value(entry).unwrap();
        for (place, common) in COMMON_KEYS.iter().enumerate() {
            assert_eq!(listing["common_keys"][place]["key"], common.key, "{}", entry.id);
            assert!(entry.inputs.iter().all(|input| input.key != common.key), "{} has {}", entry.id, common.key);
        }
    }
}
