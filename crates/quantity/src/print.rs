//! How many digits a figure deserves.
//!
//! The rule: the uncertainty is printed with two significant digits, the value to the same place,
//! both rounded half away from zero; without uncertainty six significant digits are printed and
//! trailing zeros dropped.

/// The value and the uncertainty as text, the uncertainty to two significant digits and the value to the same place.
#[must_use]
pub fn printed_with_doubt(value: f64, u: f64) -> (String, Option<String>) {
    if !(u.is_finite() && u > 0.0 && value.is_finite()) {
        return (printed(value, 6), None);
    }
    let decimals = decimals_for(u, 2);
    (to_decimals(value, decimals), Some(to_decimals(u, decimals)))
}

/// The value as text with so many significant digits, trailing zeros dropped.
#[must_use]
pub fn printed(value: f64, significant: i32) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    if !value.is_finite() {
        return "not a number".to_owned();
    }
    let text = to_decimals(value, decimals_for(value, significant));
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

fn decimals_for(value: f64, significant: i32) -> usize {
    // The printed exponent is exact where a logarithm would not be.
    let text = format!("{:.*e}", usize::try_from(significant - 1).unwrap_or(0), value.abs());
    let exponent: i32 = text.split_once('e').and_then(|(_, exponent)| exponent.parse().ok()).unwrap_or(0);
    usize::try_from(significant - 1 - exponent).unwrap_or(0).min(17)
}

/// The value with so many decimals, rounded half away from zero on its shortest decimal form.
#[must_use]
pub fn to_decimals(value: f64, decimals: usize) -> String {
    let shown = format!("{value}");
    let rounded = rust_decimal::Decimal::from_str_exact(&shown).ok().and_then(|decimal| {
        let places = u32::try_from(decimals).ok()?;
        let rounded = decimal.round_dp_with_strategy(places, rust_decimal::RoundingStrategy::MidpointAwayFromZero);
        (places <= 28).then_some(rounded)
    });
    match rounded {
        Some(number) => {
            let text = format!("{number:.decimals$}");
            if number.is_zero() { text.trim_start_matches('-').to_owned() } else { text }
        }
        None => format!("{value:.decimals$}"),
    }
}
