//! What to ask a seller before money goes out, the answer that is worth most first.
//!
//! A question has two answers. The option's expected cost holds the bad one at its chance already, so a good answer makes
//! the option cheaper and a bad one dearer, and a question is worth asking where one of the two turns the choice:
//! with `e` what the option comes to, `b` what the best other one does, `p` the chance of a bad answer and `l` its cost, the worth is
//! `min(e, b) - p min(e + (1 - p) l, b) - (1 - p) min(e - p l, b)`. Where nothing is known of the seller's answers to each other they are
//! taken one by one.

use knowledge::Knowledge;
use knowledge::workshop::CallQuestion;
use serde::Serialize;

use crate::money::OptionLine;

/// A call sheet with its questions ranked.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Call {
    /// The option that it is for.
    pub option: String,
    /// What the sheet is called.
    pub name: String,
    /// Its questions, the one worth most first.
    pub questions: Vec<Asked>,
    /// Where their figures come from.
    pub figures: String,
}

/// A question to a seller and what its answer is worth.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Asked {
    /// What it is about.
    pub group: String,
    /// The question.
    pub ask: String,
    /// What a good answer is.
    pub good: String,
    /// What knowing the answer saves on average, in labour units.
    pub worth: f64,
    /// What a bad answer that nobody asked for costs, in labour units: low and high.
    pub loss: [f64; 2],
}

impl Asked {
    /// Whether its answer is worth telling in money.
    #[must_use]
    pub fn tells(&self) -> bool {
        self.worth > WORTH_TELLING
    }
}

/// A worth below this, in labour units, is not told \[ours\].
const WORTH_TELLING: f64 = 0.01;

/// The call sheets of the options that are open, in the sequence of the options.
#[must_use]
pub fn of(options: &[OptionLine], knowledge: &Knowledge) -> Vec<Call> {
    let open: Vec<&OptionLine> = options.iter().filter(|o| o.struck_out.is_none()).collect();
    let sheet = |option: &&OptionLine| {
        let call = knowledge.calls.iter().find(|c| c.option == option.id)?;
        let others = open.iter().filter(|o| o.id != option.id).map(|o| o.expected);
        let best = others.fold(f64::INFINITY, f64::min);
        let mut questions: Vec<Asked> = call.questions.iter().map(|q| asked(q, option.expected, best)).collect();
        questions.sort_by(|a, b| {
            let costs = |q: &Asked| q.loss[0] + q.loss[1];
            b.worth.total_cmp(&a.worth).then(costs(b).total_cmp(&costs(a))).then_with(|| a.ask.cmp(&b.ask))
        });
        Some(Call { option: option.id.clone(), name: call.name.clone(), questions, figures: call.figures.to_string() })
    };
    open.iter().filter_map(sheet).collect()
}

fn asked(question: &CallQuestion, expected: f64, best_other: f64) -> Asked {
    let (p, loss) = (question.bad, question.loss.mean());
    let (after_bad, after_good) = (expected + (1.0 - p) * loss, expected - p * loss);
    let known = p * after_bad.min(best_other) + (1.0 - p) * after_good.min(best_other);
    Asked {
        group: question.group.words().to_owned(),
        ask: question.ask.clone(),
        good: question.good.clone(),
        worth: (expected.min(best_other) - known).max(0.0),
        loss: [question.loss.lo, question.loss.hi],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use knowledge::workshop::{CallGroup, Span};

    fn question(bad: f64, loss: f64) -> CallQuestion {
        let (ask, good) = ("Which?".to_owned(), "ours".to_owned());
        CallQuestion { group: CallGroup::Identity, ask, good, bad, loss: Span { lo: loss, hi: loss } }
    }

    #[test]
    fn a_question_is_worth_what_its_answer_can_turn() {
        // It leads by 5. One seller in four has the bad answer, which costs 40: then the other one is taken and 30 - 5 are saved.
        assert!((asked(&question(0.25, 40.0), 100.0, 105.0).worth - 0.25 * 25.0).abs() < 1e-12);
        // It stands 5 behind. Three in four are well, and then it is 10 - 5 cheaper than the other one.
        assert!((asked(&question(0.25, 40.0), 105.0, 100.0).worth - 0.75 * 5.0).abs() < 1e-12);
        // No answer turns anything.
        assert!(asked(&question(0.25, 40.0), 100.0, 131.0).worth.abs() < 1e-12);
        assert!(asked(&question(0.25, 40.0), 120.0, 100.0).worth.abs() < 1e-12);
        // What is certain tells nothing.
        assert!(asked(&question(0.0, 40.0), 100.0, 100.0).worth.abs() < 1e-12);
    }
}
