//! The rules of [`workup::entering`] at this door: what they refuse, field by field, with the next move on a page.

use axum::http::StatusCode;
use knowledge::{Check, Knowledge, Reading};
use logbook::{JobState, Phase};
use quantity::Question;
use workup::Case;
use workup::entering::{self, NotTaken, Rule};

pub(crate) use workup::entering::{Given, in_one_way};

use crate::trouble::{FieldTrouble, Trouble};

/// Why a reading was not taken.
#[derive(Debug, Clone)]
pub(crate) enum Refused {
    /// Fields that do not fit.
    Fields(Vec<FieldTrouble>),
    /// The value has more than one reading, and only the typist can say which.
    Asks(Question),
}

impl From<NotTaken> for Refused {
    fn from(why: NotTaken) -> Self {
        if let (Rule::Asks(question), "value") = (&why.rule, why.field.as_str()) {
            return Refused::Asks((**question).clone());
        }
        Refused::Fields(vec![field(&why)])
    }
}

/// The refusal beside its field, with the move that a page offers.
pub(crate) fn field(why: &NotTaken) -> FieldTrouble {
    let next = match &why.rule {
        Rule::NoEngine => "; do that first, under Hear",
        Rule::OtherEngine => "; correct the engine if that is wrong",
        Rule::Stage => "; the stage is told under Strip, and what was done all the same is written down as a note",
        Rule::Withheld => "; if it was done all the same, write it down as a note",
        Rule::Hold => "; it is answered under Build",
        Rule::Ceiling => "; ask for it under Choose and write down what the customer says",
        Rule::Asked if why.expected.contains("ask again") => ": make a new page under Choose and send that",
        Rule::Asked => "",
        Rule::Closed => "; take `job closed` back under Hand back, or write down that it came back",
        Rule::Unknown
        | Rule::Place
        | Rule::Word
        | Rule::Value
        | Rule::Asks(_)
        | Rule::Impossible
        | Rule::Body
        | Rule::NoEntry
        | Rule::Withdrawn
        | Rule::Caution(_)
        | Rule::OwnWay => "",
    };
    FieldTrouble::new(&why.field, format!("{why}{next}"))
}

/// The status of a refusal: what does not fit by itself is unprocessable, what the job as it stands forbids a conflict.
pub(crate) const fn status(rule: &Rule) -> StatusCode {
    match rule {
        Rule::Caution(_) | Rule::Hold | Rule::Ceiling | Rule::Asked | Rule::Closed | Rule::Withdrawn => {
            StatusCode::CONFLICT
        }
        Rule::NoEngine
        | Rule::Unknown
        | Rule::Place
        | Rule::Word
        | Rule::OtherEngine
        | Rule::Stage
        | Rule::Withheld
        | Rule::Value
        | Rule::Asks(_)
        | Rule::Impossible
        | Rule::Body
        | Rule::NoEntry
        | Rule::OwnWay => StatusCode::UNPROCESSABLE_ENTITY,
    }
}

impl From<NotTaken> for Trouble {
    fn from(why: NotTaken) -> Self {
        let titles = [
            (Rule::Ceiling, "this goes beyond what was approved"),
            (Rule::Hold, "a hold point is open"),
            (Rule::Asked, "the request that it answers does not hold"),
            (Rule::Closed, "the job is closed"),
            (Rule::Withdrawn, "it is taken back already"),
        ];
        let title = match titles.iter().find(|(rule, _)| *rule == why.rule) {
            Some((_, title)) => title,
            None if matches!(why.rule, Rule::Caution(_)) => "a caution holds this up",
            None => "the entry was not kept",
        };
        let mut trouble = Trouble::fields(title, vec![field(&why)]);
        trouble.status = status(&why.rule);
        trouble
    }
}

/// Finds check and reading.
pub(crate) fn found<'k>(
    knowledge: &'k Knowledge,
    check_id: &str,
    reading_id: &str,
) -> Result<(&'k Check, &'k Reading), Refused> {
    entering::found(knowledge, check_id, reading_id).map_err(Refused::from)
}

/// Passes a reading that this engine, at this stage of strip-down, can give; says in words why not.
pub(crate) fn possible(
    state: &JobState,
    knowledge: &Knowledge,
    check: &Check,
    reading: &Reading,
    phase: Option<Phase>,
    case: Option<&Case>,
) -> Result<(), String> {
    entering::possible(state, knowledge, check, reading, phase, case).map_err(|why| field(&why).message)
}
