//! The formulas that are written beside each calculator: every result has one, and what is written in plain arithmetic comes to
//! the answer when it is worked out by the small reader of arithmetic below, which shares nothing with the calculators.

#![expect(clippy::panic, reason = "the helpers of a test may fail it")]

use std::collections::{BTreeMap, BTreeSet};

use mechanics::{Calculator, Given, InputKind, calculator, catalogue};

type Pairs = &'static [(&'static str, &'static str)];

/// Calls besides the worked example, so that every line in plain arithmetic is worked out once.
const FURTHER: &[(&str, Pairs)] = &[
    ("bearing-clearance", &[("housing", "57 mm"), ("wall", "2.4 mm"), ("second_wall", "2.5 mm"), ("journal", "52 mm")]),
    (
        "compression-ratio",
        &[
            ("bore", "3.5 in"),
            ("stroke", "3.25 in"),
            ("chamber", "60 cc"),
            ("gasket_thickness", "0.04 in"),
            ("cylinders", "8"),
        ],
    ),
    (
        "cam-timing-shift",
        &[
            ("cam_teeth", "40"),
            ("crank_teeth", "20"),
            ("pitch", "8 mm"),
            ("centres", "400 mm"),
            ("cut", "0.3 mm"),
            ("drive", "belt"),
        ],
    ),
    (
        "piston-clearance",
        &[
            ("bore", "88.03 mm"),
            ("piston", "87.98 mm"),
            ("bore_temperature", "35 °C"),
            ("piston_temperature", "15 °C"),
            ("bore_expansion", "11"),
            ("piston_expansion", "21"),
        ],
    ),
    (
        "oil-clearance-heat",
        &[
            ("size", "60 mm"),
            ("housing_expansion", "21"),
            ("housing_rise", "70 K"),
            ("journal_expansion", "11.5"),
            ("journal_rise", "90 K"),
            ("cold", "0.05 mm"),
        ],
    ),
    (
        "cut-plan",
        &[
            ("flatness", "0.07 mm"),
            ("datum_rise", "0.09 mm"),
            ("face", "block"),
            ("bore", "86 mm"),
            ("stroke", "80 mm"),
            ("clearance", "50 cc"),
        ],
    ),
    (
        "press-fit",
        &[
            ("diameter", "36 mm"),
            ("outer_diameter", "60 mm"),
            ("inner_diameter", "30 mm"),
            ("interference", "0.1 mm"),
            ("outer_modulus", "71 GPa"),
            ("inner_modulus", "120 GPa"),
            ("outer_poisson", "0.33"),
            ("inner_poisson", "0.3"),
            ("length", "6 mm"),
            ("friction", "0.15"),
        ],
    ),
    (
        "press-fit",
        &[
            ("diameter", "36 mm"),
            ("outer_diameter", "60 mm"),
            ("wanted_force", "9 kN"),
            ("outer_modulus", "71 GPa"),
            ("inner_modulus", "120 GPa"),
            ("outer_poisson", "0.33"),
            ("inner_poisson", "0.3"),
            ("length", "6 mm"),
            ("friction", "0.15"),
        ],
    ),
    (
        "press-fit",
        &[
            ("diameter", "36 mm"),
            ("outer_diameter", "60 mm"),
            ("wanted_pressure", "40 MPa"),
            ("outer_modulus", "71 GPa"),
            ("inner_modulus", "120 GPa"),
            ("outer_poisson", "0.33"),
            ("inner_poisson", "0.3"),
        ],
    ),
    (
        "seat-fit",
        &[
            ("diameter", "36 mm"),
            ("interference", "0.13 mm"),
            ("head_expansion", "21.5"),
            ("seat_expansion", "12"),
            ("head_modulus", "71 GPa"),
            ("seat_modulus", "120 GPa"),
            ("head_poisson", "0.33"),
            ("seat_poisson", "0.3"),
            ("head_rise", "180 K"),
            ("seat_rise", "150 K"),
            ("boss_diameter", "60 mm"),
            ("seat_inner_diameter", "30 mm"),
            ("depth", "6 mm"),
            ("friction", "0.15"),
            ("head_at", "150 °C"),
            ("seat_at", "-70 °C"),
        ],
    ),
    (
        "seat-fit",
        &[
            ("diameter", "36 mm"),
            ("wanted_pressure", "20 MPa"),
            ("head_expansion", "21.5"),
            ("seat_expansion", "12"),
            ("head_modulus", "71 GPa"),
            ("seat_modulus", "120 GPa"),
            ("head_poisson", "0.33"),
            ("seat_poisson", "0.3"),
            ("head_rise", "180 K"),
            ("boss_diameter", "60 mm"),
            ("seat_inner_diameter", "30 mm"),
        ],
    ),
    (
        "seat-fit",
        &[
            ("diameter", "36 mm"),
            ("wanted_force", "2 kN"),
            ("head_expansion", "21.5"),
            ("seat_expansion", "12"),
            ("head_modulus", "71 GPa"),
            ("seat_modulus", "120 GPa"),
            ("head_poisson", "0.33"),
            ("seat_poisson", "0.3"),
            ("head_rise", "180 K"),
            ("boss_diameter", "60 mm"),
            ("seat_inner_diameter", "30 mm"),
            ("depth", "6 mm"),
            ("friction", "0.15"),
        ],
    ),
    ("fit", &[("size", "25 mm"), ("hole", "H7"), ("shaft", "g6")]),
    (
        "thread",
        &[
            ("diameter", "0.5 in"),
            ("threads_per_inch", "13"),
            ("profile", "unified"),
            ("proof_stress", "85000 psi"),
            ("tensile_strength", "120000 psi"),
        ],
    ),
    (
        "bolt-preload",
        &[
            ("preload", "5000 lbf"),
            ("diameter", "0.5 in"),
            ("threads_per_inch", "13"),
            ("nut_factor", "0.18"),
            ("thread_friction", "0.12"),
            ("bearing_diameter", "0.65 in"),
            ("yield_strength", "92000 psi"),
        ],
    ),
    ("bolt-preload", &[("torque", "80 N·m"), ("diameter", "12 mm"), ("nut_factor", "0.18")]),
    (
        "bolt-angle",
        &[
            ("pitch", "1.5 mm"),
            ("preload", "20 kN"),
            ("bolt_stiffness", "96 kN/mm"),
            ("joint_stiffness", "300 kN/mm"),
            ("snug_preload", "9 kN"),
        ],
    ),
    ("bolt-angle", &[("pitch", "1.5 mm"), ("angle", "60 deg"), ("bolt_stiffness", "96 kN/mm"), ("joint_ratio", "3")]),
    (
        "bolt-angle",
        &[
            ("threads_per_inch", "13"),
            ("angle", "120 deg"),
            ("diameter", "0.5 in"),
            ("thread_length", "1 in"),
            ("joint_ratio", "3"),
            ("snug_preload", "2000 lbf"),
            ("yield_strength", "60000 psi"),
        ],
    ),
    (
        "leak-down",
        &[
            ("orifice", "1 mm"),
            ("supply", "6 bar"),
            ("percent", "30 %"),
            ("temperature", "30 °C"),
            ("leak_coefficient", "0.8"),
        ],
    ),
    ("leak-down", &[("orifice", "1 mm"), ("supply", "0.5 bar"), ("hole", "1 mm")]),
    ("cranking-pressure", &[("compression_ratio", "9.5")]),
    (
        "conformity",
        &[
            ("value", "1 mm"),
            ("u", "0.1 mm"),
            ("lower", "0.5 mm"),
            ("upper", "1.1 mm"),
            ("process_mean", "1.02 mm"),
            ("process_spread", "0.1 mm"),
        ],
    ),
];

/// Takes plain arithmetic apart: sums, products, powers, roots, and angles in degrees.
struct Reader<'a> {
    rest: &'a str,
    known: &'a BTreeMap<String, f64>,
}

impl Reader<'_> {
    fn next(&mut self, signs: &[char]) -> Option<char> {
        self.rest = self.rest.trim_start();
        let sign = self.rest.chars().next().filter(|c| signs.contains(c))?;
        self.rest = &self.rest[sign.len_utf8()..];
        Some(sign)
    }

    fn word(&mut self, of: fn(char) -> bool) -> String {
        self.rest = self.rest.trim_start();
        let end = self.rest.find(|c| !of(c)).unwrap_or(self.rest.len());
        let word = self.rest[..end].to_owned();
        self.rest = &self.rest[end..];
        word
    }

    fn sum(&mut self) -> Result<f64, String> {
        let mut sum = self.product()?;
        while let Some(sign) = self.next(&['+', '-']) {
            let other = self.product()?;
            sum += if sign == '+' { other } else { -other };
        }
        Ok(sum)
    }

    fn product(&mut self) -> Result<f64, String> {
        let mut product = self.power()?;
        while let Some(sign) = self.next(&['×', '/']) {
            let other = self.power()?;
            product *= if sign == '×' { other } else { 1.0 / other };
        }
        Ok(product)
    }

    fn power(&mut self) -> Result<f64, String> {
        if self.next(&['-']).is_some() {
            return Ok(-self.power()?);
        }
        let base = self.atom()?;
        Ok(match self.next(&['²', '³', '^']) {
            Some('²') => base.powi(2),
            Some('³') => base.powi(3),
            Some(_) => base.powf(self.atom()?),
            None => base,
        })
    }

    fn atom(&mut self) -> Result<f64, String> {
        if self.next(&['(']).is_some() {
            let inside = self.sum()?;
            return self
                .next(&[')'])
                .map(|_| inside)
                .ok_or_else(|| format!("a bracket is open before {:?}", self.rest));
        }
        let number = self.word(|c| c.is_ascii_digit() || c == '.');
        if !number.is_empty() {
            return number.parse().map_err(|_| format!("{number:?} is no number"));
        }
        let name = self.word(|c| c.is_ascii_alphanumeric() || c == '_');
        if self.next(&['(']).is_some() {
            let mut told = vec![self.sum()?];
            while self.next(&[',']).is_some() {
                told.push(self.sum()?);
            }
            self.next(&[')']).ok_or("a bracket of a function is open")?;
            return match (name.as_str(), told.as_slice()) {
                ("sqrt", [x]) => Ok(x.sqrt()),
                ("sin", [x]) => Ok(x.to_radians().sin()),
                ("cos", [x]) => Ok(x.to_radians().cos()),
                ("asin", [x]) => Ok(x.asin().to_degrees()),
                ("max", [x, y]) => Ok(x.max(*y)),
                ("min", [x, y]) => Ok(x.min(*y)),
                _ => Err(format!("{name} of {} is no function here", told.len())),
            };
        }
        if name == "pi" {
            return Ok(std::f64::consts::PI);
        }
        self.known.get(&name).copied().ok_or(name)
    }
}

fn worked(text: &str, known: &BTreeMap<String, f64>) -> Result<f64, String> {
    let mut reader = Reader { rest: text, known };
    let value = reader.sum()?;
    if reader.rest.trim().is_empty() { Ok(value) } else { Err(format!("{:?} is left over", reader.rest)) }
}

/// Condition, key and right side of a line in plain arithmetic.
fn arithmetic(line: &'static str) -> Option<(Option<&'static str>, &'static str, &'static str)> {
    let (condition, rest) = match line.split_once(": ") {
        Some((condition, rest)) if condition.starts_with("with") || condition == "else" => (Some(condition), rest),
        _ => (None, line),
    };
    let (key, right) = rest.split_once(" = ")?;
    (!key.contains(' ')).then_some((condition, key, right))
}

/// The key that a line works out, in arithmetic or in words.
fn worked_out(line: &'static str) -> Option<&'static str> {
    if let Some((_, key, _)) = arithmetic(line) {
        return Some(key);
    }
    let rest =
        line.split_once(": ").map_or(line, |(before, rest)| if before.starts_with("with") { rest } else { line });
    let (key, _) = rest.split_once(" is")?;
    (!key.contains(' ')).then_some(key)
}

fn holds(condition: Option<&str>, given: &Given) -> bool {
    let has = |key: &str| given.optional(key).is_some() || given.text(key).is_some() || !given.table(key).is_empty();
    let Some(condition) = condition else { return true };
    match (condition.strip_prefix("without "), condition.strip_prefix("with ").map(|c| c.split_once('=').ok_or(c))) {
        (Some(key), _) => !has(key),
        (None, Some(Ok((key, word)))) => given.text(key) == Some(word),
        (None, Some(Err(key))) => has(key),
        (None, None) => panic!("{condition:?} is no condition"),
    }
}

/// Works the written lines out for one call, holds them against the answer, and says which of them were worked out.
fn follow(entry: &'static Calculator, pairs: &[(&str, &str)]) -> BTreeSet<&'static str> {
    let given = Given::read(entry, pairs).unwrap_or_else(|error| panic!("{} {pairs:?}: {error}", entry.id));
    let answer = entry.run(&given).unwrap_or_else(|error| panic!("{} {pairs:?}: {error}", entry.id));
    let inputs = entry.inputs.iter().filter(|input| input.kind == InputKind::Number);
    let mut known: BTreeMap<String, f64> =
        inputs.filter_map(|input| Some((input.key.to_owned(), given.optional(input.key)?))).collect();
    let typed: BTreeSet<String> = known.keys().cloned().collect();
    let mut followed = BTreeSet::new();
    for line in entry.workings {
        let Some((condition, key, right)) = arithmetic(line) else {
            // What a search or a table finds is taken from the answer.
            if let Some((key, value)) = worked_out(line).and_then(|key| Some((key, answer.value(key)?))) {
                known.entry(key.to_owned()).or_insert(value);
            }
            continue;
        };
        // Where a key stands for a result and for what is typed, what is typed goes before.
        let done = condition == Some("else") && known.contains_key(key);
        if done
            || !holds(condition.filter(|c| *c != "else"), &given)
            || (typed.contains(key) && answer.value(key).is_none())
        {
            continue;
        }
        match worked(right, &known) {
            Ok(value) => {
                if let Some(said) = answer.value(key) {
                    let near = (value - said).abs() <= 1e-6 * said.abs().max(1e-6);
                    assert!(near, "{} {pairs:?}: {line:?} comes to {value}, the answer says {said}", entry.id);
                    followed.insert(*line);
                } else if !entry.outputs.iter().any(|output| output.key == key) {
                    followed.insert(*line);
                }
                known.entry(key.to_owned()).or_insert(value);
            }
            Err(missing) => assert!(
                entry.inputs.iter().any(|i| i.key == missing)
                    || entry.outputs.iter().any(|o| o.key == missing)
                    || entry.workings.iter().any(|other| worked_out(other) == Some(missing.as_str())),
                "{}: {line:?}: {missing}",
                entry.id
            ),
        }
    }
    followed
}

#[test]
fn every_result_of_every_calculator_has_its_formula_and_every_key_in_it_is_known() {
    for entry in catalogue() {
        let worked: BTreeSet<&str> = entry.workings.iter().filter_map(|line| worked_out(line)).collect();
        for output in entry.outputs {
            assert!(worked.contains(output.key), "{}: how {} is worked out is not written", entry.id, output.key);
        }
        for line in entry.workings {
            let words = line.split(|c: char| !(c.is_ascii_alphanumeric() || c == '_'));
            for word in words.filter(|word| word.contains('_')) {
                let known = entry.inputs.iter().any(|input| input.key == word)
                    || entry.outputs.iter().any(|output| output.key == word)
                    || worked.contains(word);
                assert!(known, "{}: {line:?} names {word}, which is no key", entry.id);
            }
            assert!(!line.ends_with('.'), "{}: {line:?}", entry.id);
        }
    }
}

#[test]
fn what_is_written_in_plain_arithmetic_comes_to_the_answer() {
    let mut count = 0;
    for entry in catalogue() {
        let mut followed = follow(entry, entry.example);
        for (_, pairs) in FURTHER.iter().filter(|(id, _)| *id == entry.id) {
            followed.extend(follow(entry, pairs));
        }
        for line in entry.workings.iter().filter(|line| arithmetic(line).is_some()) {
            assert!(followed.contains(line), "{}: no call here works {line:?} out", entry.id);
        }
        count += followed.len();
    }
    assert!(count > 150, "{count} lines of arithmetic were worked out");
}

#[test]
fn a_wrong_formula_would_be_found() {
    let known = BTreeMap::from([("bore".to_owned(), 88.0), ("stroke".to_owned(), 86.0)]);
    // 88² × 86 × pi / 4 / 1000 by another calculator: 523.062...
    let swept = worked("pi / 4 × bore² × stroke / 1000", &known).unwrap();
    assert!((swept - 523.062).abs() < 1e-3, "{swept}");
    assert!((worked("2 - 3 × (4 - 1)² / 2^3 + sqrt(16) - -1", &known).unwrap() - 3.625).abs() < 1e-12);
    assert!((worked("sin(30) + cos(60) + asin(1)", &known).unwrap() - 91.0).abs() < 1e-12);
    assert_eq!(worked("bore × rod", &known), Err("rod".to_owned()));
    assert!(worked("bore stroke", &known).is_err());
    assert!(calculator("compression-ratio").unwrap().workings.iter().any(|line| line.starts_with("swept = ")));
}
