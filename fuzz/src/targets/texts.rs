//! Short texts that people type: quantities, money, vehicle numbers, codes, addresses.

use anatomy::Position;
use logbook::{AnswerCode, shortcode};
use quantity::{
    Currency, DoubtReply, Money, MoneyReply, Reply, Typed, Unit, parse_money, parse_quantity, parse_with_doubt,
};
use store::Place;

use super::text;
use crate::{Holds, ensure};

/// A quantity: what is read is finite and keeps its text; written anew with its unit it is read as the same value; a complaint
/// names a place inside the text; without a doubt it reads the same as where a doubt may stand.
///
/// # Errors
/// What does not hold.
pub fn quantity(bytes: &[u8]) -> Holds {
    let Some(text) = text(bytes) else { return Ok(()) };
    let fields = [
        None,
        Some(Unit::MILLIMETRE),
        Some(Unit::CELSIUS),
        Some(Unit::NEWTON_METRE),
        Some(Unit::KILOMETRE),
        Some(Unit::ONE),
    ];
    for expected in fields {
        let read = parse_quantity(text, expected);
        match &read {
            Ok(Reply::Value(typed)) => value_holds(text, typed)?,
            Ok(Reply::Question(question)) => {
                ensure(question.readings.len() > 1, || format!("a question of one reading: {question:?}"))?;
                ensure(question.typed == text && !question.ask.is_empty(), || format!("not its text: {question:?}"))?;
                for typed in &question.readings {
                    value_holds(text, typed)?;
                }
            }
            Err(error) => complaint_holds(text, &error.to_string())?,
        }
        match (&read, parse_with_doubt(text, expected)) {
            (Ok(Reply::Value(typed)), Ok(DoubtReply::Value(with))) => {
                ensure(with.typed == *typed && with.u.is_none(), || {
                    format!("{typed:?} is {with:?} where a doubt may be")
                })?;
            }
            (Ok(Reply::Question(one)), Ok(DoubtReply::Question(other))) => {
                ensure(*one == other, || format!("{one:?} is {other:?} where a doubt may be"))?;
            }
            (Err(_), Ok(DoubtReply::Value(with))) => {
                let u = with.u.unwrap_or(f64::NAN);
                ensure(u.is_finite() && u >= 0.0, || format!("a doubt of {u}: {with:?}"))?;
                ensure(with.typed.text == text && with.typed.number.is_finite(), || format!("not its text: {with:?}"))?;
            }
            (Err(_), Err(error)) => complaint_holds(text, &error.to_string())?,
            (Err(_), Ok(DoubtReply::Question(_))) => {}
            (Ok(one), other) => return Err(format!("{one:?} is {other:?} where a doubt may be")),
        }
    }
    Ok(())
}

fn value_holds(text: &str, typed: &Typed) -> Holds {
    ensure(typed.text == text, || format!("it is kept as {:?}", typed.text))?;
    ensure(typed.number.is_finite() && typed.resolution.is_finite(), || format!("not finite: {typed:?}"))?;
    ensure(typed.resolution > 0.0, || format!("no step: {typed:?}"))?;
    let stored = serde_json::to_string(typed).map_err(|error| format!("{typed:?} cannot be stored: {error}"))?;
    let again: Typed = serde_json::from_str(&stored).map_err(|error| format!("{stored} cannot be read: {error}"))?;
    // The reader of JSON may be one unit off in the last place; what is kept for good keeps digits as text.
    let close = |one: f64, other: f64| one.to_bits().abs_diff(other.to_bits()) <= 1;
    let same = again.text == typed.text && again.unit == typed.unit;
    let close = close(again.number, typed.number) && close(again.resolution, typed.resolution);
    ensure(same && close, || format!("stored as {stored} it comes back as {again:?}"))?;
    let printed = format!("{} {}", typed.number, typed.unit.symbol());
    if printed.chars().count() > 40 {
        return Ok(());
    }
    let same = |other: &Typed| other.unit == typed.unit && other.number.to_bits() == typed.number.to_bits();
    match parse_quantity(&printed, Some(typed.unit)) {
        Ok(Reply::Value(again)) => ensure(same(&again), || format!("printed as {printed:?} it is read as {again:?}")),
        Ok(Reply::Question(asked)) => ensure(asked.readings.iter().any(same), || {
            format!("printed as {printed:?} it is asked as {:?}", asked.readings)
        }),
        Err(error) => Err(format!("printed as {printed:?} it is not read: {error}")),
    }
}

/// A complaint is words, and a place that it names lies inside the text or just behind it.
fn complaint_holds(text: &str, said: &str) -> Holds {
    ensure(!said.trim().is_empty(), || "a complaint without words".to_owned())?;
    // What was typed stands quoted before the place.
    let length = text.chars().count();
    let Some((_, behind)) = said.rsplit_once("at character ") else { return Ok(()) };
    let digits: String = behind.chars().take_while(char::is_ascii_digit).collect();
    let at = digits.parse::<usize>().unwrap_or(1);
    ensure((1..=length + 1).contains(&at), || format!("character {at} of a text of {length}: {said}"))
}

/// An amount of money: printed it is read as the same amount, and stored it comes back.
///
/// # Errors
/// What does not hold.
pub fn money(bytes: &[u8]) -> Holds {
    let Some(text) = text(bytes) else { return Ok(()) };
    let currencies = ["EUR", "JPY", "KWD"].map(Currency::from_code);
    for expected in currencies.into_iter().chain([None]) {
        match parse_money(text, expected) {
            Ok(MoneyReply::Value(money)) => money_holds(text, &money)?,
            Ok(MoneyReply::Question { typed, readings, ask }) => {
                ensure(typed == text && readings.len() > 1 && !ask.is_empty(), || {
                    format!("a question of {readings:?}")
                })?;
                for money in &readings {
                    money_holds(text, money)?;
                }
            }
            Err(error) => ensure(!error.to_string().is_empty(), || "a complaint without words".to_owned())?,
        }
    }
    Ok(())
}

fn money_holds(text: &str, money: &Money) -> Holds {
    let named: String = text.chars().filter(|c| c.is_alphabetic()).collect();
    ensure(named.is_empty() || named.eq_ignore_ascii_case(money.currency().code()), || {
        format!("{named:?} is taken for {}", money.currency().code())
    })?;
    let digits = |text: &str| -> String { text.chars().filter(char::is_ascii_digit).collect() };
    let (typed, taken) = (digits(text), digits(&money.amount().to_string()));
    let bare = |digits: &str| digits.trim_start_matches('0').trim_end_matches('0').to_owned();
    ensure(bare(&typed) == bare(&taken), || format!("the digits {typed} are taken for {taken}"))?;
    let printed = money.to_string();
    match parse_money(&printed, None) {
        Ok(MoneyReply::Value(again)) => ensure(again == *money, || format!("printed as {printed:?} it is {again:?}"))?,
        other => return Err(format!("printed as {printed:?} it is read as {other:?}")),
    }
    let stored = serde_json::to_string(money).map_err(|error| error.to_string())?;
    let again: Money = serde_json::from_str(&stored).map_err(|error| format!("{stored} cannot be read: {error}"))?;
    ensure(again == *money, || format!("stored as {stored} it comes back as {again:?}"))
}

/// A vehicle number: read again it is the same; one that agrees has the seventeen signs that were typed, and no mistake that is
/// said to be unseen changes that.
///
/// # Errors
/// What does not hold.
pub fn vin(bytes: &[u8]) -> Holds {
    let Some(text) = text(bytes) else { return Ok(()) };
    let read = mechanics::vin::read_vin(text);
    let again = mechanics::vin::read_vin(&read.vin);
    ensure(again == read, || format!("{read:?} is read as {again:?}"))?;
    for warning in &read.warnings {
        ensure(!warning.to_string().is_empty(), || format!("{warning:?} has no words"))?;
    }
    let unseen = mechanics::vin::unseen_mistakes(&read.vin);
    if read.agrees {
        let typed: String = text.chars().filter(|c| !c.is_whitespace() && *c != '-').collect();
        ensure(typed.eq_ignore_ascii_case(&read.vin) && typed.len() == 17, || {
            format!("{typed:?} is taken for {}", read.vin)
        })?;
        for mistake in unseen {
            let mut signs: Vec<char> = read.vin.chars().collect();
            match mistake {
                mechanics::vin::Unseen::Substitution(place, other) => {
                    if let Some(sign) = signs.get_mut(place - 1) {
                        *sign = other;
                    }
                }
                mechanics::vin::Unseen::Exchange(one, other) => signs.swap(one - 1, other - 1),
            }
            let wrong: String = signs.into_iter().collect();
            ensure(mechanics::vin::read_vin(&wrong).agrees, || format!("{mistake:?} of {} is seen", read.vin))?;
        }
    }
    Ok(())
}

/// Codes from papers and pages, and places on an engine: what is read is read again from how it is written.
///
/// # Errors
/// What does not hold.
pub fn code(bytes: &[u8]) -> Holds {
    let Some(text) = text(bytes) else { return Ok(()) };
    match shortcode::read(text) {
        Ok(code) => {
            let again = shortcode::read(&code);
            ensure(again.as_deref() == Ok(&code), || format!("{code} is read as {again:?}"))?;
            ensure(shortcode::bare(&code) == shortcode::bare(text), || format!("{text:?} is taken for {code}"))?;
        }
        Err(error) => ensure(!error.to_string().is_empty(), || "a complaint without words".to_owned())?,
    }
    if let Ok(code) = AnswerCode::read(text) {
        let again = AnswerCode::read(&code.to_string());
        ensure(again.as_ref() == Ok(&code), || format!("{code} is read as {again:?}"))?;
    }
    if let Ok(position) = text.parse::<Position>() {
        ensure(position.to_string() == text, || format!("{text:?} is taken for {position}"))?;
    }
    for_ids::<anatomy::EntryId>(text)?;
    for_ids::<anatomy::JobId>(text)?;
    for_ids::<store::ContentId>(text)
}

fn for_ids<I: std::str::FromStr + std::fmt::Display + PartialEq>(text: &str) -> Holds {
    let Ok(id) = text.parse::<I>() else { return Ok(()) };
    let again = id.to_string().parse::<I>().ok();
    ensure(again.as_ref() == Some(&id), || format!("{text:?} is taken for {id}, which is not read again"))
}

/// The place of a record: no address with a password or of another machine is taken, and none is repeated in a complaint.
///
/// # Errors
/// What does not hold.
pub fn place(bytes: &[u8]) -> Holds {
    let Some(text) = text(bytes) else { return Ok(()) };
    match Place::read(text.as_ref()) {
        Ok(place) => {
            let again = Place::read(text.as_ref());
            ensure(again.as_ref() == Ok(&place) && !place.to_string().is_empty(), || {
                format!("{place:?} is read as {again:?}")
            })
        }
        Err(error) => {
            let said = error.to_string();
            let authority =
                text.split_once("//").map_or("", |(_, rest)| rest.split(['/', '?']).next().unwrap_or_default());
            let secret =
                authority.rsplit_once('@').and_then(|(who, _)| who.split_once(':')).map_or("", |(_, secret)| secret);
            ensure(secret.len() < 6 || !said.contains(secret), || format!("a password stands in: {said}"))
        }
    }
}
