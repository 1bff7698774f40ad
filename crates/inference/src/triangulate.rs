//! From a network to a tree of cliques: the order in which variables are summed out.
//!
//! The graph joins every two variables that stand in one table. Variables are taken out one
//! after another; taking one out joins all its neighbours. Three rules for choosing the next
//! one are tried and the tree with the fewest table entries is kept:
//! weighted fill (sum over new joins of the product of both state counts), plain fill (number of
//! new joins) and weight (entries of the clique). Ties fall to the smaller clique, then to the
//! lower index, so that the same network always gives the same tree.

#![expect(clippy::indexing_slicing, reason = "all indices are variables or cliques counted by the vectors they index")]

use std::collections::BTreeSet;

/// The cliques of a network and how they hang together.
///
/// Cliques are numbered so that a clique comes before its parent.
#[derive(Debug, Clone)]
pub(crate) struct CliqueTree {
    /// The variables of each clique, first to be kept, last to be summed out.
    pub(crate) cliques: Vec<Vec<usize>>,
    /// How many variables at the front of each clique are shared with its parent.
    pub(crate) shared: Vec<usize>,
    /// The parent of each clique; a root has none.
    pub(crate) parent: Vec<Option<usize>>,
    /// The place of each variable in the order of taking out; absent variables have none.
    pub(crate) rank: Vec<Option<usize>>,
}

impl CliqueTree {
    /// Gives the number of entries of every clique, saturating.
    pub(crate) fn entries(&self, counts: &[usize]) -> Vec<u64> {
        self.cliques.iter().map(|clique| entries_of(clique.iter().copied(), counts)).collect()
    }

    /// Gives the clique in which a variable is summed out.
    pub(crate) fn home(&self, variables: usize) -> Vec<Option<usize>> {
        let mut home = vec![None; variables];
        for (index, (clique, &shared)) in self.cliques.iter().zip(&self.shared).enumerate() {
            for &v in clique.iter().skip(shared) {
                home[v] = Some(index);
            }
        }
        home
    }
}

fn entries_of(variables: impl Iterator<Item = usize>, counts: &[usize]) -> u64 {
    variables.fold(1_u64, |product, v| product.saturating_mul(counts[v] as u64))
}

/// The rules for choosing the next variable.
#[derive(Debug, Clone, Copy)]
enum Rule {
    WeightedFill,
    Fill,
    Weight,
}

/// Gives the clique tree with the fewest entries among the rules tried.
///
/// `counts` is the number of states per variable, `families` the groups that stand in one table,
/// `absent` the variables left out because they will be observed.
pub(crate) fn clique_tree(counts: &[usize], families: &[Vec<usize>], absent: &[bool]) -> CliqueTree {
    let graph = joined(counts.len(), families, absent);
    let mut best: Option<(u64, CliqueTree)> = None;
    for rule in [Rule::WeightedFill, Rule::Fill, Rule::Weight] {
        let tree = tree_from(counts.len(), take_out(graph.clone(), counts, absent, rule));
        let total = tree.entries(counts).iter().fold(0_u64, |sum, &e| sum.saturating_add(e));
        if best.as_ref().is_none_or(|(least, _)| total < *least) {
            best = Some((total, tree));
        }
    }
    best.map_or_else(|| tree_from(counts.len(), Vec::new()), |(_, tree)| tree)
}

/// Neighbours of every variable, sorted.
type Graph = Vec<Vec<usize>>;

fn joined(variables: usize, families: &[Vec<usize>], absent: &[bool]) -> Graph {
    let mut graph: Graph = vec![Vec::new(); variables];
    for family in families {
        for &a in family.iter().filter(|&&a| !absent[a]) {
            for &b in family.iter().filter(|&&b| !absent[b] && b != a) {
                graph[a].push(b);
            }
        }
    }
    for neighbours in &mut graph {
        neighbours.sort_unstable();
        neighbours.dedup();
    }
    graph
}

/// What joining two variables costs under a rule.
fn join_cost(counts: &[usize], rule: Rule, a: usize, b: usize) -> u64 {
    match rule {
        Rule::WeightedFill => (counts[a] as u64).wrapping_mul(counts[b] as u64),
        Rule::Fill => 1,
        Rule::Weight => 0,
    }
}

/// Gives the cost of all joins that taking a variable out would make.
fn fill_cost(graph: &Graph, counts: &[usize], rule: Rule, v: usize) -> u64 {
    let neighbours = &graph[v];
    let mut fill = 0_u64;
    for (place, &a) in neighbours.iter().enumerate() {
        for b in missing_from(&neighbours[place + 1..], &graph[a]) {
            fill = fill.wrapping_add(join_cost(counts, rule, a, b));
        }
    }
    fill
}

/// Gives what stands in the first sorted list and not in the second.
fn missing_from<'a>(list: &'a [usize], other: &'a [usize]) -> impl Iterator<Item = usize> + 'a {
    let mut rest = &other[other.partition_point(|x| Some(x) < list.first())..];
    list.iter().copied().filter(move |&x| {
        while let Some((&first, after)) = rest.split_first() {
            if first >= x {
                break;
            }
            rest = after;
        }
        rest.first() != Some(&x)
    })
}

/// Takes the variables out one by one; gives each with its neighbours at that moment.
///
/// The cost of the joins still to be made is kept up to date by differences, not counted anew:
/// a variable with thousands of neighbours would otherwise be counted thousands of times.
fn take_out(mut graph: Graph, counts: &[usize], absent: &[bool], rule: Rule) -> Vec<(usize, Vec<usize>)> {
    let weight = |graph: &Graph, v: usize| entries_of(graph[v].iter().copied().chain([v]), counts);
    let mut fill: Vec<u64> = vec![0; counts.len()];
    let mut costs = vec![(0, 0); counts.len()];
    let mut queue: BTreeSet<((u64, u64), usize)> = BTreeSet::new();
    for v in (0..counts.len()).filter(|&v| !absent[v]) {
        fill[v] = fill_cost(&graph, counts, rule, v);
        costs[v] = (fill[v], weight(&graph, v));
        queue.insert((costs[v], v));
    }
    let mut order = Vec::with_capacity(queue.len());
    while let Some((_, v)) = queue.pop_first() {
        let neighbours = std::mem::take(&mut graph[v]);
        let mut touched = neighbours.clone();
        for &a in &neighbours {
            if let Ok(place) = graph[a].binary_search(&v) {
                graph[a].remove(place);
            }
            // Joins of `v` with the other neighbours of `a` need not be made for `a` any more.
            for b in missing_from(&graph[a], &neighbours) {
                fill[a] = fill[a].wrapping_sub(join_cost(counts, rule, v, b));
            }
        }
        for (place, &a) in neighbours.iter().enumerate() {
            let joins: Vec<usize> = missing_from(&neighbours[place + 1..], &graph[a]).collect();
            for b in joins {
                let join = join_cost(counts, rule, a, b);
                // Whoever knows both ends has one join less to make; each end gets a new
                // neighbour, to be joined with all of its own that the other does not know.
                for &c in &graph[a] {
                    if graph[b].binary_search(&c).is_ok() {
                        fill[c] = fill[c].wrapping_sub(join);
                        touched.push(c);
                    }
                }
                for (end, far) in [(a, b), (b, a)] {
                    for x in missing_from(&graph[end], &graph[far]) {
                        fill[end] = fill[end].wrapping_add(join_cost(counts, rule, far, x));
                    }
                }
                for (end, far) in [(a, b), (b, a)] {
                    if let Err(at) = graph[end].binary_search(&far) {
                        graph[end].insert(at, far);
                    }
                }
            }
        }
        touched.sort_unstable();
        touched.dedup();
        for &u in &touched {
            let new = (fill[u], weight(&graph, u));
            if new != costs[u] {
                queue.remove(&(costs[u], u));
                costs[u] = new;
                queue.insert((new, u));
            }
        }
        order.push((v, neighbours));
    }
    order
}

/// Builds the tree: the clique of a variable hangs on the clique of its first neighbour to go,
/// and swallows it where it holds all of it.
fn tree_from(variables: usize, order: Vec<(usize, Vec<usize>)>) -> CliqueTree {
    let mut rank = vec![None; variables];
    let mut position = vec![usize::MAX; variables];
    for (place, (v, _)) in order.iter().enumerate() {
        rank[*v] = Some(place);
        position[*v] = place;
    }
    let steps = order.len();
    // For every step: the step of the first neighbour to go.
    let up: Vec<Option<usize>> =
        order.iter().map(|(_, neighbours)| neighbours.iter().map(|&n| position[n]).min()).collect();
    // The step whose clique stands for this one.
    let mut stands: Vec<usize> = (0..steps).collect();
    let mut swallowed = vec![false; steps];
    let mut last = (0..steps).collect::<Vec<usize>>();
    for step in 0..steps {
        if let Some(above) = up[step]
            && !swallowed[above]
            && order[step].1.len() == order[above].1.len() + 1
        {
            swallowed[above] = true;
            stands[above] = stands[step];
            last[stands[step]] = above;
        }
    }
    let heads: Vec<usize> = (0..steps).filter(|&s| !swallowed[s]).collect();
    // Number the cliques by the step at which they are done with, so that children come first.
    let mut by_end = heads;
    by_end.sort_unstable_by_key(|&head| last[head]);
    let mut number = vec![usize::MAX; steps];
    for (index, &head) in by_end.iter().enumerate() {
        number[head] = index;
    }
    let mut tree = CliqueTree {
        cliques: Vec::with_capacity(by_end.len()),
        shared: Vec::with_capacity(by_end.len()),
        parent: Vec::with_capacity(by_end.len()),
        rank,
    };
    for &head in &by_end {
        let (v, neighbours) = &order[head];
        let mut clique: Vec<usize> = neighbours.iter().copied().chain([*v]).collect();
        clique.sort_unstable_by_key(|&u| std::cmp::Reverse(position[u]));
        let end = last[head];
        tree.cliques.push(clique);
        tree.shared.push(order[end].1.len());
        tree.parent.push(up[end].map(|above| number[stands[above]]));
    }
    tree
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A square of four joined in a ring needs one diagonal: two cliques of three.
    #[test]
    fn a_ring_of_four_becomes_two_triangles() {
        let tree = clique_tree(&[2, 3, 2, 3], &[vec![0, 1], vec![1, 2], vec![2, 3], vec![3, 0]], &[false; 4]);
        assert_eq!(tree.cliques.len(), 2);
        // The diagonal joins the two variables of two states: 2 * 2 * 3 entries each.
        assert_eq!(tree.entries(&[2, 3, 2, 3]), [12, 12]);
        assert_eq!(tree.shared, [2, 0]);
        assert_eq!(tree.parent, [Some(1), None]);
    }

    /// Runs the taking out and recounts every remaining cost from scratch after every step.
    #[test]
    fn costs_kept_by_differences_are_those_counted_anew() {
        // The order by differences must be the order found by counting anew.
        let counts: Vec<usize> = (0..30).map(|v| 2 + v % 4).collect();
        let families: Vec<Vec<usize>> = (0..30_usize)
            .map(|v| {
                let mut family = vec![v, (v * 7 + 3) % 30, (v * v + 1) % 30];
                family.sort_unstable();
                family.dedup();
                family
            })
            .collect();
        let absent = vec![false; 30];
        for rule in [Rule::WeightedFill, Rule::Fill, Rule::Weight] {
            let mut graph = joined(30, &families, &absent);
            let order = take_out(graph.clone(), &counts, &absent, rule);
            let mut left: Vec<usize> = (0..30).collect();
            for (v, neighbours) in order {
                let cheapest = left
                    .iter()
                    .map(|&u| {
                        let weight = entries_of(graph[u].iter().copied().chain([u]), &counts);
                        (fill_cost(&graph, &counts, rule, u), weight, u)
                    })
                    .min()
                    .unwrap();
                assert_eq!(cheapest.2, v, "{rule:?}");
                assert_eq!(graph[v], neighbours);
                left.retain(|&u| u != v);
                for &a in &neighbours {
                    graph[a].retain(|&u| u != v);
                    for &b in neighbours.iter().filter(|&&b| b != a) {
                        graph[a].push(b);
                    }
                    graph[a].sort_unstable();
                    graph[a].dedup();
                }
                graph[v].clear();
            }
        }
    }

    #[test]
    fn an_observed_variable_cuts_the_ring_open() {
        let tree =
            clique_tree(&[2, 3, 2, 3], &[vec![0, 1], vec![1, 2], vec![2, 3], vec![3, 0]], &[true, false, false, false]);
        assert_eq!(tree.entries(&[2, 3, 2, 3]), [6, 6]);
        assert_eq!(tree.rank[0], None);
    }

    #[test]
    fn every_family_fits_in_one_clique_and_every_variable_forms_one_piece() {
        // Seeded families over 40 variables, several hundred graphs.
        let mut seed = 7_u64;
        let mut draw = |below: u64| {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            usize::try_from((seed >> 33) % below).unwrap()
        };
        for _ in 0..300 {
            let counts: Vec<usize> = (0..40).map(|_| 1 + draw(4)).collect();
            let families: Vec<Vec<usize>> = (0..40)
                .map(|v| {
                    let mut family = vec![v];
                    for _ in 0..draw(4) {
                        let p = draw(40);
                        if !family.contains(&p) {
                            family.push(p);
                        }
                    }
                    family
                })
                .collect();
            let tree = clique_tree(&counts, &families, &[false; 40]);
            for family in &families {
                assert!(tree.cliques.iter().any(|c| family.iter().all(|v| c.contains(v))));
            }
            for (index, clique) in tree.cliques.iter().enumerate() {
                let shared = &clique[..tree.shared[index]];
                if let Some(parent) = tree.parent[index] {
                    assert!(parent > index);
                    assert!(shared.iter().all(|v| tree.cliques[parent].contains(v)));
                } else {
                    assert!(shared.is_empty());
                }
            }
            // One piece: each variable is summed out in exactly one clique, and every other
            // clique that holds it shares it with its parent.
            for v in 0..40 {
                let homes = tree.cliques.iter().zip(&tree.shared).filter(|(c, s)| c[**s..].contains(&v)).count();
                assert_eq!(homes, 1);
            }
        }
    }
}
