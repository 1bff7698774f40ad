//! Tables as they should not be typed: no panic, no answer that is no number, and every refusal names what it is about.

#![expect(clippy::unwrap_used, clippy::indexing_slicing, reason = "the helpers of a test may fail it")]

use mechanics::{calculate, calculator};

/// Inputs tried per calculator and kind of table.
const TRIES: u32 = 10_000;

struct Chance(u64);

impl Chance {
    fn below(&mut self, count: u32) -> u32 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        u32::try_from((self.0 >> 33) % u64::from(count)).unwrap()
    }

    fn of<'a>(&mut self, words: &[&'a str]) -> &'a str {
        words[usize::try_from(self.below(u32::try_from(words.len()).unwrap())).unwrap()]
    }

    fn number(&mut self, most: f64) -> f64 {
        most * f64::from(self.below(1_000_001)) / 1_000_000.0
    }
}

const CELLS: &[&str] = &[
    "0",
    "0.03",
    "1",
    "2",
    "3",
    "10",
    "100",
    "150",
    "400",
    "-5",
    "-0.01",
    "1e9",
    "1e-300",
    "1e300",
    "NaN",
    "inf",
    "abc",
    "",
    "0,5",
    "3 thou",
    "12 in",
    "5 kg",
    "±",
    "0.02±0.01",
    "99999999999999999999",
    "--",
    "0.1.2",
    "½",
    "1/4 in",
    "µ",
];

/// What must hold of any answer and any refusal.
fn ensure_sane(id: &str, pairs: &[(&str, &str)]) -> bool {
    match calculate(id, pairs) {
        Ok(answer) => {
            for line in &answer.results {
                assert!(line.value.is_finite(), "{id} {pairs:?}: {} is {}", line.key, line.value);
                assert!(line.u.is_none_or(|u| u.is_finite() && u >= 0.0), "{id} {pairs:?}: u of {}", line.key);
            }
            assert!(!answer.results.is_empty());
            true
        }
        Err(error) => {
            let text = error.to_string();
            let keys: Vec<&str> = calculator(id).unwrap().inputs.iter().map(|input| input.key).collect();
            assert!(keys.iter().any(|key| text.contains(key)), "{id} {pairs:?}: {text:?} names no field");
            assert!(text.len() > 20 && !text.contains("did not come to an end"), "{pairs:?}: {text}");
            false
        }
    }
}

fn odd_table(chance: &mut Chance, columns: u32) -> String {
    let (row_end, cell_end) = (chance.of(&["\n", "; ", "\r\n", ";"]), chance.of(&[",", ", ", " ", "\t"]));
    let rows = chance.below(12);
    let ragged = chance.below(4) == 0;
    let odd = chance.below(3);
    let mut text = String::new();
    for row in 0..rows {
        let width = if ragged { 1 + chance.below(6) } else { columns };
        for cell in 0..width {
            if cell > 0 {
                text.push_str(cell_end);
            }
            if chance.below(10) < odd {
                text.push_str(chance.of(CELLS));
            } else {
                let number = [chance.number(400.0), chance.number(0.2), f64::from(row)]
                    [usize::try_from(chance.below(3)).unwrap()];
                text.push_str(&format!("{number:.3}"));
            }
        }
        text.push_str(row_end);
    }
    text
}

#[test]
fn odd_grids_of_heights_are_answered_or_refused_by_name() {
    let mut chance = Chance(1);
    let mut answered = 0;
    for _ in 0..TRIES {
        let table = odd_table(&mut chance, 3);
        let window = chance.of(&["150 mm", "0.001 mm", "6 in", "1e6 mm", "10 mm"]);
        answered += u32::from(ensure_sane("flatness-grid", &[("points", &table), ("window", window)]));
    }
    assert!(answered > TRIES / 20, "{answered} of {TRIES} answered");
}

#[test]
fn odd_gaps_of_one_line_are_answered_or_refused_by_name() {
    let mut chance = Chance(2);
    let mut answered = 0;
    for try_number in 0..TRIES {
        let table = if try_number % 2 == 0 {
            odd_table(&mut chance, 2)
        } else {
            let mut along = -100.0;
            let rows: Vec<String> = (0..2 + chance.below(15))
                .map(|_| {
                    along += chance.number(120.0);
                    format!("{along:.2},{:.3}", chance.number(0.2))
                })
                .collect();
            rows.join("\n")
        };
        let stretch = chance.of(&["150 mm", "0.001 mm", "6 in", "1e6 mm", "33.3 mm"]);
        answered += u32::from(ensure_sane("flatness-straightedge", &[("gaps", &table), ("stretch", stretch)]));
    }
    assert!(answered > TRIES / 3, "{answered} of {TRIES} answered");
}

/// Lines of a face that hold each other, some left out, some moved, some with odd cells.
fn odd_readings(chance: &mut Chance) -> String {
    let (x, y) = ([0.0, 200.0, 400.0], [0.0, 70.0, 140.0]);
    let mut lines: Vec<Vec<[f64; 2]>> = y.iter().map(|y| x.iter().map(|x| [*x, *y]).collect()).collect();
    lines.extend(x.iter().map(|x| y.iter().map(|y| [*x, *y]).collect::<Vec<_>>()));
    lines.push(vec![[0.0, 0.0], [200.0, 70.0], [400.0, 140.0]]);
    lines.push(vec![[0.0, 140.0], [200.0, 70.0], [400.0, 0.0]]);
    let (mischief, wide) = (chance.below(3), chance.below(2) == 0);
    let mut rows = Vec::new();
    for (number, line) in lines.iter().enumerate() {
        if mischief == 1 && chance.below(8) == 0 {
            continue;
        }
        for place in line {
            let passes = if wide { 0.0 } else { f64::from(chance.below(4)) * 0.01 };
            let refused = passes + if wide { chance.number(0.2) } else { 0.03 };
            let moved = if mischief == 2 && chance.below(20) == 0 { chance.number(30.0) } else { 0.0 };
            let mut cells = [
                format!("{}", number + 1),
                format!("{}", place[0] + moved),
                format!("{}", place[1]),
                format!("{passes:.3}"),
                format!("{refused:.3}"),
            ];
            if mischief == 2 && chance.below(40) == 0 {
                let cell = usize::try_from(chance.below(5)).unwrap();
                chance.of(CELLS).clone_into(&mut cells[cell]);
            }
            rows.push(cells.join(","));
        }
    }
    rows.join("\n")
}

#[test]
fn odd_readings_of_several_lines_are_answered_or_refused_by_name() {
    let mut chance = Chance(3);
    let mut answered = 0;
    for try_number in 0..TRIES {
        let table = if try_number % 4 == 0 { odd_table(&mut chance, 5) } else { odd_readings(&mut chance) };
        let pairs = [
            ("readings", table.as_str()),
            ("edge_error", chance.of(&["0 mm", "0.004 mm", "1 mm", "0.02 mm"])),
            ("kink_allowance", chance.of(&["0 mm", "0.005 mm", "10 mm", "0.5 mm"])),
            ("search", chance.of(&["quick", "quick", "quick", "quick", "quick", "quick", "quick", "proved"])),
        ];
        answered += u32::from(ensure_sane("flatness-straightedge", &pairs));
    }
    assert!(answered > TRIES / 5, "{answered} of {TRIES} answered");
}

#[test]
fn odd_cut_plans_are_answered_or_refused_by_name() {
    let mut chance = Chance(4);
    let keys: Vec<&str> = calculator("cut-plan").unwrap().inputs.iter().map(|input| input.key).collect();
    let mut answered = 0;
    for try_number in 0..TRIES {
        let mut pairs: Vec<(&str, String)> = Vec::new();
        // Mostly what goes together; one time in four anything.
        let (by_bore, by_ratio, by_teeth, any) =
            (chance.below(2) == 0, chance.below(2) == 0, chance.below(2) == 0, chance.below(4) == 0);
        let (of_volume, of_cam) = (chance.below(2) == 0, chance.below(2) == 0);
        for key in &keys {
            let wanted = if any {
                chance.below(3) == 0
            } else {
                match *key {
                    "flatness" | "height" | "minimum_height" => true,
                    "bore" | "stroke" => of_volume && by_bore,
                    "swept" => of_volume && !by_bore,
                    "compression_ratio" => of_volume && by_ratio,
                    "clearance" => of_volume && !by_ratio,
                    "open_area" => of_volume,
                    "cam_radius" => of_cam && !by_teeth,
                    "cam_teeth" | "crank_teeth" | "pitch" | "centres" => of_cam && by_teeth,
                    _ => chance.below(8) == 0,
                }
            };
            if !wanted {
                continue;
            }
            let value = match *key {
                "face" => chance.of(&["head", "block", "Head", "lid"]).to_owned(),
                "drive" => chance.of(&["chain", "belt", "gear"]).to_owned(),
                "open_area" => format!("{:.2} cm2", chance.number(80.0)),
                "swept" | "clearance" => format!("{:.2} cc", chance.number(600.0)),
                "compression_ratio" | "cam_teeth" | "crank_teeth" => format!("{:.2}", 1.0 + chance.number(60.0)),
                "flatness" | "clean_up" | "datum_rise" => format!("{:.3} mm±0.005mm", chance.number(0.4)),
                _ => format!("{:.3} mm", chance.number(200.0)),
            };
            let odd = try_number % 3 == 0 && chance.below(6) == 0;
            pairs.push((key, if odd { chance.of(CELLS).to_owned() } else { value }));
        }
        let pairs: Vec<(&str, &str)> = pairs.iter().map(|(key, value)| (*key, value.as_str())).collect();
        answered += u32::from(ensure_sane("cut-plan", &pairs));
    }
    assert!(answered > TRIES / 20, "{answered} of {TRIES} answered");
    if calculate("cut-plan", &[("flatness", "9 mm")]).is_ok() {
        panic!("a flatness of 9 mm was taken");
    }
}
