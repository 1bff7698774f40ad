//! Whatever is typed, a calculator answers with finite numbers or says what is wrong.

use mechanics::{InputKind, calculator, catalogue};
use proptest::prelude::*;

/// The answer is finite throughout, or the complaint is a sentence without full stop.
fn holds(id: &str, pairs: &[(&str, &str)]) -> Result<(), String> {
    let entry = calculator(id).map_err(|error| error.to_string())?;
    match entry.calculate(pairs) {
        Ok(answer) => {
            let bad =
                answer.results.iter().find(|line| !line.value.is_finite() || line.u.is_some_and(|u| !u.is_finite()));
            bad.map_or(Ok(()), |line| Err(format!("{id} {pairs:?}: {line:?}")))
        }
        Err(error) => {
            let message = error.to_string();
            let fine = message.len() > 10 && !message.ends_with('.') && !message.contains("NaN");
            if fine { Ok(()) } else { Err(format!("{id} {pairs:?}: {message}")) }
        }
    }
}

#[test]
fn nought_and_huge_and_tiny_values_in_any_place_are_answered_or_refused() {
    for entry in catalogue() {
        for input in entry.inputs.iter().filter(|input| input.kind == InputKind::Number) {
            let unit = input.unit_symbol().replace("any", "mm").replace("ΔK", "K");
            for value in ["0", "1e-12", "1e-6", "1", "1e6", "1e12", "-1", "-1e9"] {
                let text = format!("{value} {unit}");
                let others = entry.example.iter().filter(|(key, _)| *key != input.key).copied();
                let pairs: Vec<(&str, &str)> = others.chain([(input.key, text.as_str())]).collect();
                if let Err(complaint) = holds(entry.id, &pairs) {
                    panic!("{complaint}");
                }
            }
        }
    }
}

#[test]
fn every_choice_of_every_calculator_is_taken_and_another_word_is_refused_with_the_list() {
    for entry in catalogue() {
        for input in entry.inputs.iter().filter(|input| input.kind == InputKind::Choice) {
            for choice in input.choices {
                let others = entry.example.iter().filter(|(key, _)| *key != input.key).copied();
                let pairs: Vec<(&str, &str)> = others.chain([(input.key, *choice)]).collect();
                if let Err(complaint) = holds(entry.id, &pairs) {
                    panic!("{complaint}");
                }
            }
            let others = entry.example.iter().filter(|(key, _)| *key != input.key).copied();
            let pairs: Vec<(&str, &str)> = others.chain([(input.key, "no-such-word")]).collect();
            let message = entry.calculate(&pairs).map_or_else(|error| error.to_string(), |_| String::new());
            assert!(
                input.choices.iter().all(|choice| message.contains(choice)),
                "{} {}: {message}",
                entry.id,
                input.key
            );
        }
    }
}

proptest! {
    #[test]
    fn any_numbers_in_two_places_at_once_are_answered_or_refused(
        which in 0..1000_usize, one in 0..1000_usize, two in 0..1000_usize, a in -1e4..1e4_f64, b in 1e-4..1e4_f64
    ) {
        let Some(entry) = catalogue().get(which % catalogue().len()) else { return Ok(()) };
        let numbers: Vec<_> = entry.inputs.iter().filter(|input| input.kind == InputKind::Number).collect();
        if let (Some(first), Some(second)) = (numbers.get(one % numbers.len().max(1)), numbers.get(two % numbers.len().max(1)))
            && first.key != second.key
        {
            let unit = |symbol: &str| symbol.replace("any", "mm").replace("ΔK", "K");
            let (x, y) = (format!("{a} {}", unit(first.unit_symbol())), format!("{b} {}", unit(second.unit_symbol())));
            let others = entry.example.iter().filter(|(key, _)| *key != first.key && *key != second.key).copied();
            let pairs: Vec<(&str, &str)> = others.chain([(first.key, x.as_str()), (second.key, y.as_str())]).collect();
            if let Err(complaint) = holds(entry.id, &pairs) {
                prop_assert!(false, "{}", complaint);
            }
        }
    }
}
