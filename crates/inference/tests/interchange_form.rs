//! Reading and writing the open interchange form.
use inference::{About, Network, Property, Table, Variable};

const FULL: &str = r#"// a network with everything the form allows
network "two lamps" {
  property author someone;
  property "drawn by hand; twice";
}
variable light { /* the child
  of two */
  type discrete[3] { off, dim "very full" };
  property position = (10, 20);
}
probability ( light | switch, "the lamp" ) {
  default 0.2 0.5 0.3;
  (down, good) 0.97, 0.02, 0.01;
  ("up" good) 5e-2, .15, 0.80;
  property kept apart;
}
variable switch { type discrete [ 2 ] { down, up }; }
variable "the lamp" { type discrete [ 2 ] { good, worn }; }
probability ( switch ) { table 0.4, 0.6; }
probability ( "the lamp" | switch ) {
  table 0.9 0.7
        0.1 0.3;
}
"#;

#[test]
fn everything_the_form_allows_is_read() {
    let network = Network::from_bif(FULL).unwrap();
    assert_eq!(network.name(), "two lamps");
    assert_eq!(network.variables()[0].states, ["off", "dim", "very full"]);
    assert_eq!(network.tables()[0].parents, [1, 2]);
    assert_eq!(network.tables()[0].values, [0.97, 0.02, 0.01, 0.2, 0.5, 0.3, 0.05, 0.15, 0.8, 0.2, 0.5, 0.3]);
    let property = |about, text: &str| Property { about, text: text.to_owned() };
    assert_eq!(
        network.properties(),
        [
            property(About::Network, "author someone"),
            property(About::Network, "drawn by hand; twice"),
            property(About::Variable(0), "position = (10, 20)"),
            property(About::Table(0), "kept apart"),
        ]
    );
}

// Value by: pyAgrum 3.3.1 reading the same text: with three parent states a, b, c the entry
//           `table 0.6 0.05 0.1 0.4 0.95 0.9` gives the rows (0.6, 0.4), (0.05, 0.95), (0.1, 0.9)
#[test]
fn in_a_table_entry_the_child_runs_slowest() {
    let network = Network::from_bif(
        "network n { } variable light { type discrete [ 2 ] { t, f }; }
         variable fo { type discrete [ 3 ] { a, b, c }; }
         probability ( light | fo ) { table 0.6, 0.05, 0.1, 0.4, 0.95, 0.9; }
         probability ( fo ) { table 0.2, 0.3, 0.5; }",
    )
    .unwrap();
    assert_eq!(network.tables()[0].values, [0.6, 0.4, 0.05, 0.95, 0.1, 0.9]);
}

#[test]
fn a_network_with_odd_names_and_odd_numbers_survives_writing_and_reading() {
    let third = 1.0 / 3.0;
    let tiny = f64::from_bits(1);
    let network = Network::new(
        vec![
            Variable::new("a b; {c}", ["property", "table", "// no comment", "x,y|z"]),
            Variable::new("network", ["0", "-1", "1e5", "größer als 3 µm"]),
        ],
        vec![
            Table { child: 1, parents: vec![], values: vec![third, third, 1.0 - third - third, -0.0] },
            Table {
                child: 0,
                parents: vec![1],
                values: vec![tiny, 1.0, 0.0, 0.0, 0.1, 0.2, 0.3, 0.4, 1e-300, 0.5, 0.25, 0.25, 0.7, 0.1, 0.1, 0.1],
            },
        ],
    )
    .unwrap()
    .with_name("a name with blanks")
    .unwrap()
    .with_property(Property { about: About::Table(1), text: "  two  blanks; and // marks } ".to_owned() })
    .unwrap();
    let text = network.to_bif();
    let again = Network::from_bif(&text).unwrap();
    assert_eq!(again, network);
    for (one, other) in again.tables().iter().zip(network.tables()) {
        for (p, q) in one.values.iter().zip(&other.values) {
            assert_eq!((p + 0.0).to_bits(), (q + 0.0).to_bits());
        }
    }
    assert!(!text.contains("-0.0"), "{text}");
    assert_eq!(again.to_bif(), text);
}

/// A text around the part under test: variables `x` (a, b) and `y` (c, d, e) with lines counted
/// from the part's first line as line 5.
fn with_tables(part: &str) -> String {
    format!(
        "network n {{\n}}\nvariable x {{ type discrete [ 2 ] {{ a, b }}; }}\nvariable y {{ type discrete [ 3 ] {{ c, d, e }}; }}\n{part}"
    )
}

const X: &str = "probability ( x ) { table 0.5, 0.5; }\n";

#[test]
fn every_complaint_names_line_column_and_the_next_move() {
    let y = |entries: &str| with_tables(&format!("{X}probability ( y | x ) {{\n{entries}\n}}"));
    let cases: Vec<(String, &str)> = vec![
        (
            String::new(),
            "line 1, column 1: expected a network block, found the end of the text; begin the text with: network name { }",
        ),
        (
            "network n { } network m { }".to_owned(),
            "line 1, column 15: the network block is given twice, first at line 1, column 1; remove one of them",
        ),
        (
            "network n { }\n  free text".to_owned(),
            "line 2, column 3: expected a block that begins with network, variable or probability, found \"free\"; put free text into a comment, or close the block before it",
        ),
        ("network n { } /* never".to_owned(), "line 1, column 15: this comment is never closed; add the closing */"),
        (
            "network \"n {\n}\n".to_owned(),
            "line 1, column 9: this quoted name is never closed; add the closing double quotation mark on the same line",
        ),
        (
            "network n { property one\n}".to_owned(),
            "line 1, column 13: this property is never closed; add the closing semicolon",
        ),
        (
            "network n { }\nvariable v { type continuous; }".to_owned(),
            "line 2, column 19: expected \"discrete\", found \"continuous\"; only variables with a list of states can be read",
        ),
        (
            "network n { }\nvariable v { type discrete [ 3 ] { a, b }; }".to_owned(),
            "line 2, column 30: variable \"v\" has 2 states listed, expected 3; correct the number or the list",
        ),
        (
            "network n { }\nvariable v { type discrete [ two ] { a, b }; }".to_owned(),
            "line 2, column 30: expected the number of states, found \"two\"; write a whole number",
        ),
        (
            "network n { }\nvariable v { }".to_owned(),
            "line 2, column 14: expected the type of \"v\", found the end of its block; add: type discrete [ 2 ] { first, second };",
        ),
        (
            "network n { }\nvariable v { type discrete [ 2 ] { a, a }; }\nprobability ( v ) { table 0.5, 0.5; }"
                .to_owned(),
            "line 3, column 1: variable \"v\" has the state \"a\" twice; rename one of them",
        ),
        (
            with_tables("variable x { type discrete [ 1 ] { a }; }"),
            "line 5, column 10: variable \"x\" is given twice, first at line 3, column 10; remove one of them",
        ),
        (with_tables(X), "line 4, column 10: variable \"y\" has no probability table; add one"),
        (
            with_tables("probability ( z ) { table 1.0; }"),
            "line 5, column 15: there is no variable \"z\"; declare it in a variable block or correct the spelling",
        ),
        (
            with_tables(&format!("{X}{X}")),
            "line 6, column 1: the table of \"x\" is given twice, first at line 5, column 1; remove one of them",
        ),
        (
            y("  (a) 0.2, 0.3, 0.5;"),
            "line 6, column 1: the table of \"y\" has no row (x = b); add the row or a default entry",
        ),
        (
            y("  (a) 0.2, 0.3, 0.5;\n  (a) 0.2, 0.3, 0.5;"),
            "line 8, column 3: the row (x = a) of \"y\" is given twice, first at line 7, column 3; remove one of them",
        ),
        (y("  (q) 0.2, 0.3, 0.5;"), "line 7, column 4: variable \"x\" has no state \"q\"; its states are a, b"),
        (
            y("  (a, b) 0.2, 0.3, 0.5;"),
            "line 7, column 3: a row of \"y\" has 2 parent states, expected 1; name one state per parent, in the order of the parents",
        ),
        (
            y("  (a) 0.2, 0.3;"),
            "line 7, column 3: the row (x = a) of \"y\" has 2 numbers, expected 3; give one number per state of the child",
        ),
        (
            y("  (a) 0.2, 0.3, 0.6;"),
            "line 7, column 3: the table of \"y\", row (x = a): the probabilities add up to 1.1 instead of 1 (allowed difference 1e-9); correct the row",
        ),
        (
            y("  (a) 0.2, 1.3, -0.5;"),
            "line 7, column 3: the table of \"y\", row (x = a), state \"e\": -0.5 is not a probability; give a finite number that is not negative",
        ),
        (
            y("  (a) 0.2, nan, 0.5;"),
            "line 7, column 12: \"nan\" is not a number; write a decimal such as 0.25 or 2.5e-3",
        ),
        (
            y("  (a) 0.2, 0,3x, 0.5;"),
            "line 7, column 14: \"3x\" is not a number; write a decimal such as 0.25 or 2.5e-3",
        ),
        (
            y("  (a) 0.2, 0.3, 0.5"),
            "line 8, column 1: expected a number or \";\", found \"}\"; end the numbers with a semicolon",
        ),
        (
            y("  µ (a) 0.2, 0.3, 0.5;"),
            "line 7, column 3: expected table, default, property, \"(\" or \"}\", found \"µ\"; a row reads: (parent states) numbers; and a table without parents: table numbers;",
        ),
        (
            y("  table 0.2, 0.3, 0.5, 0.1, 0.1, 0.8;"),
            "line 7, column 3: the table entry of \"y\" adds up to one only when read with the child running fastest, but in this form the child runs slowest and the last parent fastest; put it in that order or write one row per line",
        ),
        (
            y("  table 0.2, 0.3, 0.5;"),
            "line 7, column 3: the table entry of \"y\" has 3 numbers, expected 6; give 3 states of the child times 2 combinations of parent states",
        ),
        (
            y("  default 0.2, 0.3;"),
            "line 7, column 3: the default of \"y\" has 2 numbers, expected 3; give one number per state of the child",
        ),
        (
            with_tables(
                "probability ( x | y ) { default 0.5, 0.5; }\nprobability ( y | x ) { default 0.2, 0.3, 0.5; }",
            ),
            "line 5, column 1: the arrows run in a circle: x -> y -> x; take one of these parents away",
        ),
        (
            with_tables("probability ( x | y, y ) { default 0.5, 0.5; }"),
            "line 5, column 1: the table of \"x\" names the parent \"y\" twice; name it once",
        ),
    ];
    for (text, says) in cases {
        let error = Network::from_bif(&text).unwrap_err();
        assert_eq!(error.to_string(), says, "for the text\n{text}");
        assert!(says.starts_with(&error.place().to_string()));
    }
}

#[test]
fn a_text_cut_off_anywhere_or_with_one_character_changed_is_refused_or_read_but_never_stops_the_reader() {
    let places: Vec<usize> = FULL.char_indices().map(|(place, _)| place).collect();
    for &place in &places {
        let _ = Network::from_bif(&FULL[..place]);
        for other in ["{", "}", "(", ";", "\"", "9", "/*", "µ", "|", "-"] {
            let mut text = FULL[..place].to_owned();
            text.push_str(other);
            text.push_str(&FULL[place..]);
            if let Ok(network) = Network::from_bif(&text) {
                assert!(Network::from_bif(&network.to_bif()).unwrap() == network);
            }
        }
    }
}

#[test]
fn a_table_of_monstrous_size_is_refused_without_asking_for_memory() {
    let mut text = "network n { }\n".to_owned();
    for v in 0..80 {
        text.push_str(&format!("variable v{v} {{ type discrete [ 4 ] {{ a, b, c, d }}; }}\n"));
    }
    let parents: Vec<String> = (1..80).map(|v| format!("v{v}")).collect();
    text.push_str(&format!("probability ( v0 | {} ) {{ default 0.25, 0.25, 0.25, 0.25; }}", parents.join(", ")));
    assert_eq!(
        Network::from_bif(&text).unwrap_err().to_string(),
        "line 82, column 1: the table of \"v0\" with 79 parents would need more than 268435456 entries; split it with helper variables"
    );
}
