//! A worst-of network written out as a plain discrete network, exactly.
//!
//! The worst of many draws is built up one draw at a time: "the worst so far" is a variable of its own, whose table
//! needs only the worst before and one parent. So no table has more than two parents, whatever the number of draws,
//! and any program for discrete networks can check the fast engine.

use std::collections::BTreeMap;

use crate::evidence::Evidence;
use crate::network::{Network, NetworkError, Table, Variable};
use crate::worst::{Reading, WorstNet, cumulative};

/// Letters, digits and underscores only, so that every reader of the interchange form takes the name.
fn plain(name: &str) -> String {
    let out: String = name.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '_' }).collect();
    if out.starts_with(|c: char| c.is_ascii_digit()) { format!("s{out}") } else { out }
}

struct Writer {
    variables: Vec<Variable>,
    tables: Vec<Table>,
}

impl Writer {
    fn add(&mut self, name: String, states: Vec<String>, parents: Vec<usize>, values: Vec<f64>) -> usize {
        self.variables.push(Variable::new(name, states));
        self.tables.push(Table { child: self.variables.len() - 1, parents, values });
        self.variables.len() - 1
    }

    /// The worst of an own draw and one draw per parent; answers the index of the last variable.
    fn worst(&mut self, name: &str, states: &[String], own: &[f64], links: &[(usize, Vec<Vec<f64>>)]) -> usize {
        let levels = states.len();
        let named =
            |step: usize| if step == links.len() { plain(name) } else { format!("{}_so_far_{step}", plain(name)) };
        let names: Vec<String> = states.iter().map(|s| plain(s)).collect();
        let mut last = self.add(named(0), names.clone(), Vec::new(), own.to_vec());
        for (step, (parent, given)) in links.iter().enumerate() {
            let mut values = Vec::with_capacity(levels * given.len() * levels);
            for before in 0..levels {
                for row in given {
                    let at_most = cumulative(row);
                    let mut below = 0.0;
                    for (k, up_to) in at_most.iter().enumerate() {
                        let here = if k < before { 0.0 } else { *up_to };
                        values.push(here - below);
                        below = here;
                    }
                }
            }
            last = self.add(named(step + 1), names.clone(), vec![last, *parent], values);
        }
        last
    }

    /// The worse of two variables of the same states.
    fn worse_of(&mut self, name: String, states: &[String], pair: [usize; 2]) -> usize {
        let levels = states.len();
        let mut values = Vec::with_capacity(levels * levels * levels);
        for i in 0..levels {
            for j in 0..levels {
                values.extend((0..levels).map(|k| if k == i.max(j) { 1.0 } else { 0.0 }));
            }
        }
        self.add(plain(&name), states.iter().map(|s| plain(s)).collect(), pair.to_vec(), values)
    }

    /// The worst of an own draw and of parts, those of one region first among themselves: so the plain network keeps the
    /// shape of what it stands for.
    fn worst_by_region(&mut self, name: &str, states: &[String], own: &[f64], parts: &[Part<'_>]) -> usize {
        let mut groups: BTreeMap<&[u16], Vec<Parent>> = BTreeMap::new();
        for (region, parent, given) in parts {
            groups.entry(region).or_default().push((*parent, given.clone()));
        }
        let mildest: Vec<f64> = (0..states.len()).map(|k| if k == 0 { 1.0 } else { 0.0 }).collect();
        let mut last = match groups.remove(&[][..]) {
            Some(links) => self.worst(&format!("{name}_own"), states, own, &links),
            None => {
                self.add(plain(&format!("{name}_own")), states.iter().map(|s| plain(s)).collect(), vec![], own.to_vec())
            }
        };
        for (place, links) in groups.values().enumerate() {
            let here = self.worst(&format!("{name}_group_{place}"), states, &mildest, links);
            last = self.worse_of(format!("{name}_up_to_{place}"), states, [last, here]);
        }
        last
    }
}

/// A variable that adds a draw, with a row per state of it.
type Parent = (usize, Vec<Vec<f64>>);

/// A part of a reading: its region, its variable and its rows.
type Part<'a> = (&'a [u16], usize, Vec<Vec<f64>>);

/// The plain network of a worst-of network with its readings, and the evidence that the readings were seen.
///
/// The first variables of the answer are not those of `net` one by one; `places` gives, per variable of `net`, its
/// index in the answer.
///
/// # Errors
/// Two variables whose names differ only in signs that the interchange form does not know.
pub fn unroll(net: &WorstNet, readings: &[Reading]) -> Result<(Network, Evidence, Vec<usize>), NetworkError> {
    let mut writer = Writer { variables: Vec::new(), tables: Vec::new() };
    let mut places: Vec<usize> = Vec::with_capacity(net.variables.len());
    for variable in &net.variables {
        let links: Vec<(usize, Vec<Vec<f64>>)> =
            variable.links.iter().filter_map(|l| places.get(l.parent).map(|p| (*p, l.given.clone()))).collect();
        places.push(writer.worst(&variable.name, &variable.states, &variable.own, &links));
    }
    let mut evidence = Evidence::default();
    let scale: Vec<String> = ["better", "as_read", "worse"].into_iter().map(str::to_owned).collect();
    let three = |pair: &[f64; 2]| vec![pair[0], pair[1], (1.0 - pair[0] - pair[1]).max(0.0)];
    for reading in readings {
        let name = format!("reading_{}", reading.name);
        let best = reading.own[0] <= 0.0;
        let mut parts: Vec<Part<'_>> = Vec::new();
        for (index, link) in reading.links.iter().enumerate() {
            let (Some(place), Some(parent)) = (places.get(link.parent), net.variables.get(link.parent)) else {
                continue;
            };
            let never = link.given.iter().all(|[_, here]| *here <= 0.0);
            if reading.echo <= 0.0 && (best || never) {
                // Nothing can be better than the best, and what can never be what was read must be better than it:
                // each part is then seen by itself.
                let states = ["as_read_or_better", "worse"].map(str::to_owned).to_vec();
                let values = link.given.iter().flat_map(|[b, h]| [b + h, (1.0 - b - h).max(0.0)]).collect();
                let seen = writer.add(plain(&format!("{name}_part_{index}")), states, vec![*place], values);
                evidence.hard.insert(seen, 0);
            } else {
                let region = parent.region.get(..parent.region.len().min(2)).unwrap_or_default();
                parts.push((region, *place, link.given.iter().map(three).collect()));
            }
        }
        let worst = writer.worst_by_region(&name, &scale, &three(&reading.own), &parts);
        let seen = if reading.echo > 0.0 {
            let shown = vec!["as_read".to_owned(), "otherwise".to_owned()];
            let e = reading.echo;
            let values = vec![e, 1.0 - e, 1.0, 0.0, e, 1.0 - e];
            let index = writer.add(format!("shown_{}", plain(&reading.name)), shown, vec![worst], values);
            (index, 0)
        } else {
            (worst, 1)
        };
        evidence.hard.insert(seen.0, seen.1);
    }
    Network::new(writer.variables, writer.tables).map(|network| (network, evidence, places))
}
