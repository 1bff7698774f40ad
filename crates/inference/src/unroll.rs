//! A worst-of network written out as a plain discrete network, exactly.
//!
//! The worst of many draws is built up one draw at a time: "the worst so far" is a variable of its own, whose table
//! needs only the worst before and one parent. So no table has more than two parents, whatever the number of draws,
//! and any program for discrete networks can check the fast engine.

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
}

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
        let links: Vec<(usize, Vec<Vec<f64>>)> = reading
            .links
            .iter()
            .filter_map(|l| places.get(l.parent).map(|p| (*p, l.given.iter().map(three).collect())))
            .collect();
        let worst = writer.worst(&format!("reading_{}", reading.name), &scale, &three(&reading.own), &links);
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
