//! Readings that cannot be true together: they are named, and count for nothing until one of them is put right.

use anatomy::EngineLayout;
use inference::lanes::{Drawn, Draws, Laid, LanesError, clash, drawn};
use inference::worst::Reading;
use knowledge::Knowledge;
use quantity::Verdict;

use crate::advice::{self, as_shown};
use crate::beliefs::{self, Evidence};
use crate::findings::Finding;
use crate::network::EngineNet;
use crate::notice::{CANNOT_BE_TRUE, Notice};

/// The evidence of a job that can be true, with engines drawn from it and its tree laid.
pub(crate) struct Consistent {
    pub(crate) gathered: Evidence,
    pub(crate) drawn: Drawn,
    pub(crate) laid: Result<Laid, LanesError>,
}

/// Gathers the evidence, draws engines from it, and sets aside what cannot be true together.
///
/// `beside`: work that is done while engines are drawn. It is done once.
///
/// # Errors
/// Evidence that cannot be worked.
pub(crate) fn consistent<T: Send>(
    net: &EngineNet,
    layout: &EngineLayout,
    knowledge: &Knowledge,
    findings: &mut [Finding],
    notices: &mut Vec<Notice>,
    beside: impl FnOnce() -> T + Send,
) -> Result<(Consistent, T), LanesError> {
    let mut gathered = beliefs::gather(net, layout, knowledge, findings);
    let draw = |gathered: &Evidence| drawn(&net.net, &gathered.readings, advice::DRAWS, advice::SEED);
    // What does not hang on the engines drawn is worked beside drawing them.
    let (mut first, (mut laid, done)) =
        rayon::join(|| draw(&gathered), || (Laid::out(&net.net, &gathered.readings), beside()));
    loop {
        let sure = gathered.without_slips();
        let excluded = match &first {
            Ok(drawn) => !drawn.met || only_by_slips(&drawn.draws, &sure),
            Err(error) => matches!(error, LanesError::Impossible(_)),
        };
        let clashing = if excluded { clash(&net.net, &sure, 1)? } else { None };
        let Some(clashing) = clashing else { return Ok((Consistent { gathered, drawn: first?, laid }, done)) };
        // The complaint is the first reading and no finding.
        let places: Vec<usize> =
            clashing.iter().filter_map(|i| gathered.findings.get(i.checked_sub(1)?)).copied().collect();
        notices.push(set_aside(findings, &places));
        gathered = beliefs::gather(net, layout, knowledge, findings);
        (first, laid) = rayon::join(|| draw(&gathered), || Laid::out(&net.net, &gathered.readings));
    }
}

/// Engines looked at for whether a slip of the pen is the only way out \[ours\].
const LOOKED_AT: usize = 64;

/// Whether in every engine that is looked at some reading can only be a slip of the pen. Where the readings cannot all be true this is
/// so of all engines; where they can, hardly ever.
fn only_by_slips(draws: &Draws, sure: &[Reading]) -> bool {
    let never = |d: usize| sure.iter().any(|r| r.chance(draws.draw(d)) <= 0.0);
    let some = draws.count.clamp(1, LOOKED_AT);
    (0..some.min(draws.count)).all(|d| never(d * draws.count / some))
}

/// Takes findings out of all that rests on them, and says which and why.
fn set_aside(findings: &mut [Finding], places: &[usize]) -> Notice {
    let words = |place: &usize| findings.get(*place).map_or_else(String::new, as_shown);
    let all: Vec<String> = places.iter().map(words).collect();
    let entries: Vec<&str> = places.iter().filter_map(|p| findings.get(*p)).map(|f| f.entry.as_str()).collect();
    let notice = if let [one] = all.as_slice() {
        Notice::new(
            CANNOT_BE_TRUE[0],
            &entries.join(" "),
            format!("this cannot be seen on any engine of this kind: {one}"),
            "look again and correct it or take it back; until then it counts for nothing",
        )
    } else {
        Notice::new(
            CANNOT_BE_TRUE[1],
            &entries.join(" "),
            format!("these cannot all be true: {}", all.join("; ")),
            "look at them again and correct or take back the one that is wrong; until then none of them counts",
        )
    };
    for (here, place) in places.iter().enumerate() {
        let others: Vec<&str> =
            all.iter().enumerate().filter(|(other, _)| *other != here).map(|(_, words)| words.as_str()).collect();
        let Some(finding) = findings.get_mut(*place) else { continue };
        finding.reason = if others.is_empty() {
            "it cannot be seen on any engine of this kind: nothing rests on it".to_owned()
        } else {
            format!("it cannot be true together with {}: nothing rests on either", others.join("; "))
        };
        finding.doubted("look again, and correct or take back what is wrong");
    }
    notice
}

impl Finding {
    /// Takes a finding out of all that rests on it; its reason says why.
    pub(crate) fn doubted(&mut self, next: &str) {
        self.verdict = Verdict::CannotTell;
        self.measure_again = true;
        self.next_move = Some(next.to_owned());
        (self.measure, self.p_inside, self.p_outside) = (None, None, None);
        (self.guard, self.rule, self.limit, self.seen) = (None, None, None, None);
    }
}
