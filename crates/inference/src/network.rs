//! Discrete networks: variables, their states, and one probability table per variable.
//!
//! # How a table is laid out
//!
//! A table is stored as rows. There is one row for every combination of parent states and one
//! column for every state of the child. Rows are counted with the **last parent running
//! fastest**; inside a row the **child's states stand side by side**. So the chance of child
//! state `c` given parent states `p, q` (in the order of `parents`) is
//! `values[(p * states_of_q + q) * states_of_child + c]`.
//!
//! Example with unequal sizes and unequal cells: the child `light` has the 3 states
//! `off, dim, full`; its parents are `switch` (2 states `down, up`) and `lamp`
//! (2 states `good, worn`). The table has 4 rows of 3 columns:
//!
//! | row | switch | lamp | off  | dim  | full |
//! |----:|--------|------|-----:|-----:|-----:|
//! | 0   | down   | good | 0.97 | 0.02 | 0.01 |
//! | 1   | down   | worn | 0.98 | 0.015| 0.005|
//! | 2   | up     | good | 0.05 | 0.15 | 0.80 |
//! | 3   | up     | worn | 0.20 | 0.50 | 0.30 |
//!
//! and `values` is the twelve numbers read row by row; `values[2 * 3 + 1]` is 0.15.

use std::collections::BTreeMap;

use thiserror::Error;

use crate::evidence::{Evidence, EvidenceError};

/// How far the sum of one row of a table may lie from one.
pub const ROW_SUM_TOLERANCE: f64 = 1e-9;

/// The most entries one table may have; a larger one is refused before memory is asked for.
pub const TABLE_ENTRY_LIMIT: usize = 1 << 28;

/// A quantity with a fixed list of named states, of which exactly one holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Variable {
    /// The name, unique in its network.
    pub name: String,
    /// The names of the states, unique within the variable, at least one.
    pub states: Vec<String>,
}

impl Variable {
    /// Gives a variable from its name and the names of its states, not yet checked.
    pub fn new<S: Into<String>>(name: impl Into<String>, states: impl IntoIterator<Item = S>) -> Self {
        Self { name: name.into(), states: states.into_iter().map(Into::into).collect() }
    }
}

/// The probability of each state of one variable, given each combination of its parents' states.
///
/// # Shapes
/// One row per combination of parent states, last parent fastest; one column per state of the
/// child, columns of a row side by side. The module text has an example with unequal sizes.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// The variable the table is about, as an index into the network's variables.
    pub child: usize,
    /// The variables it depends on, as indices, in the order the rows are counted.
    pub parents: Vec<usize>,
    /// The probabilities, row after row.
    pub values: Vec<f64>,
}

/// What a property of the interchange form is attached to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum About {
    /// The network as a whole.
    Network,
    /// The variable with this index.
    Variable(usize),
    /// The table of the variable with this index.
    Table(usize),
}

/// A free remark carried along with a network, such as an author or a position on a drawing.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Property {
    /// What the remark is about.
    pub about: About,
    /// The remark, on one line, without a double quotation mark.
    pub text: String,
}

/// A checked discrete network: every variable has one table, tables add up, no loops.
#[derive(Debug, Clone, PartialEq)]
pub struct Network {
    name: String,
    variables: Vec<Variable>,
    tables: Vec<Table>,
    properties: Vec<Property>,
    by_name: BTreeMap<String, usize>,
}

/// Why a network was refused.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum NetworkError {
    /// A name is empty or holds a character that cannot be written down.
    #[error(
        "{what} {name:?} is not usable: a name has at least one character, no double quotation mark and no control character; choose another"
    )]
    BadName {
        /// What carries the name.
        what: String,
        /// The name as given.
        name: String,
    },
    /// Two variables share a name.
    #[error("variable {name:?} is given twice; rename one of them")]
    DuplicateVariable {
        /// The name.
        name: String,
        /// Index of the second of the two.
        variable: usize,
    },
    /// A variable has no state.
    #[error("variable {name:?} has no states; give it at least one")]
    NoStates {
        /// The name.
        name: String,
        /// Its index.
        variable: usize,
    },
    /// Two states of one variable share a name.
    #[error("variable {name:?} has the state {state:?} twice; rename one of them")]
    DuplicateState {
        /// The variable's name.
        name: String,
        /// The state's name.
        state: String,
        /// The variable's index.
        variable: usize,
    },
    /// A table or a property points outside the list of variables.
    #[error(
        "{what} points at variable number {index}, but there are only {count} variables (counted from 0); correct the index"
    )]
    UnknownIndex {
        /// What points there.
        what: String,
        /// The index.
        index: usize,
        /// How many variables there are.
        count: usize,
    },
    /// A variable has no table.
    #[error("variable {name:?} has no probability table; add one")]
    MissingTable {
        /// The variable's name.
        name: String,
        /// Its index.
        variable: usize,
    },
    /// A variable has two tables.
    #[error("variable {name:?} has two probability tables; remove one")]
    SecondTable {
        /// The variable's name.
        name: String,
        /// Its index.
        variable: usize,
    },
    /// A parent is named twice in one table.
    #[error("the table of {name:?} names the parent {parent:?} twice; name it once")]
    RepeatedParent {
        /// The child's name.
        name: String,
        /// The parent's name.
        parent: String,
        /// The child's index.
        variable: usize,
    },
    /// A table has the wrong number of entries.
    #[error(
        "the table of {name:?} has {found} entries, but {rows} rows of {columns} states need {expected}; check the parents and their states"
    )]
    WrongShape {
        /// The child's name.
        name: String,
        /// The child's index.
        variable: usize,
        /// Rows wanted.
        rows: usize,
        /// Columns wanted.
        columns: usize,
        /// Entries wanted.
        expected: usize,
        /// Entries given.
        found: usize,
    },
    /// A table would be too large to hold.
    #[error(
        "the table of {name:?} with {parents} parents would need more than {limit} entries; split it with helper variables"
    )]
    TableTooLarge {
        /// The child's name.
        name: String,
        /// The child's index.
        variable: usize,
        /// How many parents it has.
        parents: usize,
        /// The limit.
        limit: usize,
    },
    /// An entry is not a probability.
    #[error(
        "the table of {name:?}, row {row}, state {state:?}: {value} is not a probability; give a finite number that is not negative"
    )]
    NotAProbability {
        /// The child's name.
        name: String,
        /// The child's index.
        variable: usize,
        /// The row as words, such as `(switch = up, lamp = good)`.
        row: String,
        /// The number of the row, from 0.
        row_number: usize,
        /// The child's state.
        state: String,
        /// The entry.
        value: f64,
    },
    /// A row does not add up to one.
    #[error(
        "the table of {name:?}, row {row}: the probabilities add up to {sum} instead of 1 (allowed difference 1e-9); correct the row"
    )]
    RowSum {
        /// The child's name.
        name: String,
        /// The child's index.
        variable: usize,
        /// The row as words.
        row: String,
        /// The number of the row, from 0.
        row_number: usize,
        /// The sum found.
        sum: f64,
    },
    /// The arrows run in a circle.
    #[error("the arrows run in a circle: {circle}; take one of these parents away")]
    Circle {
        /// The variables of the circle, joined by arrows.
        circle: String,
        /// Index of one of them.
        variable: usize,
    },
}

impl NetworkError {
    /// Gives the variable and the row the complaint is about, where it is about one.
    #[must_use]
    pub fn place(&self) -> (Option<usize>, Option<usize>) {
        match self {
            Self::BadName { .. } | Self::UnknownIndex { .. } => (None, None),
            Self::DuplicateVariable { variable, .. }
            | Self::NoStates { variable, .. }
            | Self::DuplicateState { variable, .. }
            | Self::MissingTable { variable, .. }
            | Self::SecondTable { variable, .. }
            | Self::RepeatedParent { variable, .. }
            | Self::WrongShape { variable, .. }
            | Self::TableTooLarge { variable, .. }
            | Self::Circle { variable, .. } => (Some(*variable), None),
            Self::NotAProbability { variable, row_number, .. } | Self::RowSum { variable, row_number, .. } => {
                (Some(*variable), Some(*row_number))
            }
        }
    }
}

impl Network {
    /// Gives a checked network from variables and tables; the tables may come in any order.
    ///
    /// # Shapes
    /// Exactly one table per variable, laid out as the module text says. Inside the network the
    /// tables stand in the order of the variables.
    ///
    /// # Errors
    /// [`NetworkError`] names the variable and, for a wrong number, the row.
    pub fn new(variables: Vec<Variable>, tables: Vec<Table>) -> Result<Self, NetworkError> {
        let by_name = check_variables(&variables)?;
        let tables = order_tables(&variables, tables)?;
        for table in &tables {
            check_table(&variables, table)?;
        }
        check_no_circle(&variables, &tables)?;
        Ok(Self { name: "unnamed".to_owned(), variables, tables, properties: Vec::new(), by_name })
    }

    /// Gives the same network under another name.
    ///
    /// # Errors
    /// [`NetworkError::BadName`] when the name cannot be written down.
    pub fn with_name(mut self, name: impl Into<String>) -> Result<Self, NetworkError> {
        let name = name.into();
        check_name("the network name", &name)?;
        self.name = name;
        Ok(self)
    }

    /// Gives the same network with one more remark; remarks are kept sorted by what they are about.
    ///
    /// # Errors
    /// [`NetworkError::BadName`] when the remark has a double quotation mark or a control
    /// character, [`NetworkError::UnknownIndex`] when it is about a variable that is not there.
    pub fn with_property(mut self, property: Property) -> Result<Self, NetworkError> {
        check_name("the property", &property.text)?;
        if let About::Variable(index) | About::Table(index) = property.about
            && index >= self.variables.len()
        {
            return Err(NetworkError::UnknownIndex {
                what: format!("the property {:?}", property.text),
                index,
                count: self.variables.len(),
            });
        }
        let place = self.properties.partition_point(|other| other.about <= property.about);
        self.properties.insert(place, property);
        Ok(self)
    }

    /// Gives the name of the network.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Gives the variables; a variable's place here is its index everywhere else.
    #[must_use]
    pub fn variables(&self) -> &[Variable] {
        &self.variables
    }

    /// Gives the tables, one per variable, in the order of the variables.
    #[must_use]
    pub fn tables(&self) -> &[Table] {
        &self.tables
    }

    /// Gives the remarks, sorted by what they are about.
    #[must_use]
    pub fn properties(&self) -> &[Property] {
        &self.properties
    }

    /// Gives the index of the variable with this name.
    #[must_use]
    pub fn index_of(&self, name: &str) -> Option<usize> {
        self.by_name.get(name).copied()
    }

    /// Gives the index of a state of a variable by its name.
    #[must_use]
    pub fn state_of(&self, variable: usize, state: &str) -> Option<usize> {
        self.variables.get(variable)?.states.iter().position(|name| name == state)
    }

    /// Gives evidence that each named variable is in the named state.
    ///
    /// # Errors
    /// [`EvidenceError`] when a name is unknown or a variable is named twice with two states.
    pub fn evidence(&self, observed: &[(&str, &str)]) -> Result<Evidence, EvidenceError> {
        let mut evidence = Evidence::default();
        for (variable, state) in observed {
            evidence.observe(self, variable, state)?;
        }
        Ok(evidence)
    }
}

fn check_name(what: &str, name: &str) -> Result<(), NetworkError> {
    if name.is_empty() || name.chars().any(|c| c == '"' || c.is_control()) {
        return Err(NetworkError::BadName { what: what.to_owned(), name: name.to_owned() });
    }
    Ok(())
}

fn check_variables(variables: &[Variable]) -> Result<BTreeMap<String, usize>, NetworkError> {
    let mut by_name = BTreeMap::new();
    for (index, variable) in variables.iter().enumerate() {
        check_name("the variable name", &variable.name)?;
        if by_name.insert(variable.name.clone(), index).is_some() {
            return Err(NetworkError::DuplicateVariable { name: variable.name.clone(), variable: index });
        }
        if variable.states.is_empty() {
            return Err(NetworkError::NoStates { name: variable.name.clone(), variable: index });
        }
        let mut seen = BTreeMap::new();
        for state in &variable.states {
            check_name(&format!("of variable {:?} the state name", variable.name), state)?;
            if seen.insert(state.as_str(), ()).is_some() {
                return Err(NetworkError::DuplicateState {
                    name: variable.name.clone(),
                    state: state.clone(),
                    variable: index,
                });
            }
        }
    }
    Ok(by_name)
}

fn order_tables(variables: &[Variable], tables: Vec<Table>) -> Result<Vec<Table>, NetworkError> {
    let mut places: Vec<Option<Table>> = vec![None; variables.len()];
    for table in tables {
        let child = table.child;
        let Some((place, variable)) = places.get_mut(child).zip(variables.get(child)) else {
            return Err(NetworkError::UnknownIndex {
                what: "a table".to_owned(),
                index: child,
                count: variables.len(),
            });
        };
        if place.is_some() {
            return Err(NetworkError::SecondTable { name: variable.name.clone(), variable: child });
        }
        *place = Some(table);
    }
    places
        .into_iter()
        .zip(variables)
        .enumerate()
        .map(|(index, (place, variable))| {
            place.ok_or_else(|| NetworkError::MissingTable { name: variable.name.clone(), variable: index })
        })
        .collect()
}

/// Gives the number of rows and columns a table must have.
pub(crate) fn shape(variables: &[Variable], child: usize, parents: &[usize]) -> Result<(usize, usize), NetworkError> {
    let unknown =
        |index: usize, what: &str| NetworkError::UnknownIndex { what: what.to_owned(), index, count: variables.len() };
    let variable = variables.get(child).ok_or_else(|| unknown(child, "a table"))?;
    let columns = variable.states.len();
    let mut entries = columns;
    let mut rows = 1_usize;
    for (place, &parent) in parents.iter().enumerate() {
        let other =
            variables.get(parent).ok_or_else(|| unknown(parent, &format!("the table of {:?}", variable.name)))?;
        if parents.iter().take(place).any(|&before| before == parent) {
            return Err(NetworkError::RepeatedParent {
                name: variable.name.clone(),
                parent: other.name.clone(),
                variable: child,
            });
        }
        entries = entries.saturating_mul(other.states.len());
        rows = rows.saturating_mul(other.states.len());
    }
    if entries > TABLE_ENTRY_LIMIT {
        return Err(NetworkError::TableTooLarge {
            name: variable.name.clone(),
            variable: child,
            parents: parents.len(),
            limit: TABLE_ENTRY_LIMIT,
        });
    }
    Ok((rows, columns))
}

/// Says in words which combination of parent states a row is for.
pub(crate) fn row_in_words(variables: &[Variable], parents: &[usize], row: usize) -> String {
    if parents.is_empty() {
        return "(no parents)".to_owned();
    }
    let mut rest = row;
    let mut words: Vec<String> = Vec::new();
    for &parent in parents.iter().rev() {
        if let Some(variable) = variables.get(parent) {
            let count = variable.states.len().max(1);
            let state = variable.states.get(rest % count);
            words.push(format!("{} = {}", variable.name, state.map_or("?", String::as_str)));
            rest /= count;
        }
    }
    words.reverse();
    format!("({})", words.join(", "))
}

/// Complains when a row holds something that is no probability or does not add up to one.
pub(crate) fn check_row(
    variables: &[Variable],
    child: usize,
    parents: &[usize],
    row_number: usize,
    values: &[f64],
) -> Result<(), NetworkError> {
    let name = || variables.get(child).map_or_else(String::new, |v| v.name.clone());
    for (state, &value) in values.iter().enumerate() {
        if !value.is_finite() || value < 0.0 {
            return Err(NetworkError::NotAProbability {
                name: name(),
                variable: child,
                row: row_in_words(variables, parents, row_number),
                row_number,
                state: variables.get(child).and_then(|v| v.states.get(state)).cloned().unwrap_or_default(),
                value,
            });
        }
    }
    let sum: f64 = values.iter().sum();
    if (sum - 1.0).abs() > ROW_SUM_TOLERANCE {
        return Err(NetworkError::RowSum {
            name: name(),
            variable: child,
            row: row_in_words(variables, parents, row_number),
            row_number,
            sum,
        });
    }
    Ok(())
}

fn check_table(variables: &[Variable], table: &Table) -> Result<(), NetworkError> {
    let (rows, columns) = shape(variables, table.child, &table.parents)?;
    if table.values.len() != rows * columns {
        return Err(NetworkError::WrongShape {
            name: variables.get(table.child).map_or_else(String::new, |v| v.name.clone()),
            variable: table.child,
            rows,
            columns,
            expected: rows * columns,
            found: table.values.len(),
        });
    }
    for (row_number, values) in table.values.chunks_exact(columns).enumerate() {
        check_row(variables, table.child, &table.parents, row_number, values)?;
    }
    Ok(())
}

/// Removes variables without open parents until none is left; what cannot be removed holds a circle.
fn check_no_circle(variables: &[Variable], tables: &[Table]) -> Result<(), NetworkError> {
    let mut open: Vec<usize> = tables.iter().map(|t| t.parents.len()).collect();
    let mut children: Vec<Vec<usize>> = vec![Vec::new(); variables.len()];
    for table in tables {
        for &parent in &table.parents {
            if let Some(list) = children.get_mut(parent) {
                list.push(table.child);
            }
        }
    }
    let mut ready: Vec<usize> = (0..open.len()).filter(|&v| open.get(v) == Some(&0)).collect();
    while let Some(next) = ready.pop() {
        for &child in children.get(next).map_or(&[][..], Vec::as_slice) {
            if let Some(count) = open.get_mut(child) {
                *count -= 1;
                if *count == 0 {
                    ready.push(child);
                }
            }
        }
    }
    let stuck = |v: usize| open.get(v).is_some_and(|&count| count > 0);
    let Some(start) = (0..open.len()).find(|&v| stuck(v)) else {
        return Ok(());
    };
    // Every stuck variable has a stuck parent: walk up until a variable comes round again.
    let mut walk = vec![start];
    let mut at = start;
    let from = loop {
        let parents = tables.get(at).map_or(&[][..], |t| t.parents.as_slice());
        let Some(&up) = parents.iter().find(|&&p| stuck(p)) else {
            break 0;
        };
        if let Some(place) = walk.iter().position(|&v| v == up) {
            walk.push(up);
            break place;
        }
        walk.push(up);
        at = up;
    };
    let names: Vec<&str> =
        walk.iter().skip(from).rev().filter_map(|&v| variables.get(v).map(|variable| variable.name.as_str())).collect();
    Err(NetworkError::Circle { circle: names.join(" -> "), variable: walk.last().copied().unwrap_or(start) })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn light() -> (Vec<Variable>, Vec<Table>) {
        let variables = vec![
            Variable::new("light", ["off", "dim", "full"]),
            Variable::new("switch", ["down", "up"]),
            Variable::new("lamp", ["good", "worn"]),
        ];
        let tables = vec![
            Table { child: 2, parents: vec![], values: vec![0.9, 0.1] },
            Table {
                child: 0,
                parents: vec![1, 2],
                values: vec![0.97, 0.02, 0.01, 0.98, 0.015, 0.005, 0.05, 0.15, 0.80, 0.20, 0.50, 0.30],
            },
            Table { child: 1, parents: vec![], values: vec![0.4, 0.6] },
        ];
        (variables, tables)
    }

    #[test]
    fn tables_given_in_any_order_stand_in_the_order_of_the_variables() {
        let (variables, tables) = light();
        let network = Network::new(variables, tables).unwrap();
        assert_eq!(network.tables().iter().map(|t| t.child).collect::<Vec<_>>(), [0, 1, 2]);
        assert_eq!(network.index_of("lamp"), Some(2));
        assert_eq!(network.state_of(0, "full"), Some(2));
    }

    #[test]
    fn a_wrong_row_is_named_by_the_states_of_its_parents() {
        for (value, says) in [
            (0.16, "the table of \"light\", row (switch = up, lamp = good): the probabilities add up to 1.01"),
            (
                f64::NAN,
                "the table of \"light\", row (switch = up, lamp = good), state \"dim\": NaN is not a probability",
            ),
            (
                -0.15,
                "the table of \"light\", row (switch = up, lamp = good), state \"dim\": -0.15 is not a probability",
            ),
            (
                f64::INFINITY,
                "the table of \"light\", row (switch = up, lamp = good), state \"dim\": inf is not a probability",
            ),
        ] {
            let (variables, mut tables) = light();
            tables[1].values[7] = value;
            let error = Network::new(variables, tables).unwrap_err();
            assert!(error.to_string().starts_with(says), "{error}");
            assert_eq!(error.place(), (Some(0), Some(2)));
        }
    }

    #[test]
    fn a_row_may_miss_one_by_less_than_a_thousand_millionth_and_no_more() {
        for (miss, good) in [(9e-10, true), (1.1e-9, false)] {
            let (variables, mut tables) = light();
            tables[0].values[0] += miss;
            assert_eq!(Network::new(variables, tables).is_ok(), good, "{miss}");
        }
    }

    #[test]
    fn wrong_shapes_missing_tables_and_repeated_names_are_refused() {
        let (variables, mut tables) = light();
        tables[1].values.pop();
        assert_eq!(
            Network::new(variables, tables).unwrap_err().to_string(),
            "the table of \"light\" has 11 entries, but 4 rows of 3 states need 12; check the parents and their states"
        );
        let (variables, mut tables) = light();
        tables.pop();
        assert_eq!(
            Network::new(variables, tables).unwrap_err().to_string(),
            "variable \"switch\" has no probability table; add one"
        );
        let (mut variables, tables) = light();
        variables[2].name = "switch".to_owned();
        assert!(matches!(
            Network::new(variables, tables).unwrap_err(),
            NetworkError::DuplicateVariable { variable: 2, .. }
        ));
        let (mut variables, tables) = light();
        variables[0].states[2] = "off".to_owned();
        assert!(matches!(
            Network::new(variables, tables).unwrap_err(),
            NetworkError::DuplicateState { variable: 0, .. }
        ));
        let (variables, mut tables) = light();
        tables[1].parents = vec![1, 1];
        assert!(matches!(
            Network::new(variables, tables).unwrap_err(),
            NetworkError::RepeatedParent { variable: 0, .. }
        ));
        let (variables, mut tables) = light();
        tables[1].parents = vec![1, 7];
        assert!(matches!(Network::new(variables, tables).unwrap_err(), NetworkError::UnknownIndex { index: 7, .. }));
    }

    #[test]
    fn arrows_in_a_circle_are_refused_and_the_circle_is_spelt_out() {
        let variables = ["a", "b", "c", "d"].map(|n| Variable::new(n, ["0", "1"]));
        let pair =
            |child: usize, parent: usize| Table { child, parents: vec![parent], values: vec![0.5, 0.5, 0.5, 0.5] };
        let error = Network::new(variables.to_vec(), vec![pair(0, 2), pair(1, 0), pair(2, 1), pair(3, 0)]).unwrap_err();
        assert_eq!(error.to_string(), "the arrows run in a circle: a -> b -> c -> a; take one of these parents away");
    }

    #[test]
    fn a_table_of_monstrous_size_is_refused_without_asking_for_memory() {
        let variables: Vec<Variable> = (0..70).map(|i| Variable::new(format!("v{i}"), ["0", "1"])).collect();
        let mut tables: Vec<Table> =
            (1..70).map(|child| Table { child, parents: vec![], values: vec![0.5, 0.5] }).collect();
        tables.push(Table { child: 0, parents: (1..70).collect(), values: vec![0.5, 0.5] });
        assert!(matches!(
            Network::new(variables, tables).unwrap_err(),
            NetworkError::TableTooLarge { variable: 0, .. }
        ));
    }
}
