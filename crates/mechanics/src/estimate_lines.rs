//! The arithmetic of an estimate: markup, labour, sublet work, tax, deposits, rounding. Exact decimals throughout.

use quantity::money::MoneyReply;
use quantity::tax::part_of_one;
use quantity::{Currency, Decimal, Money, MoneyError, Prices, Rounding, TaxBy, TaxRules, minor_digits, parse_money};

use crate::budget::rows_of;
use crate::catalogue::{Calculator, Computed, Group, Input, Output};
use crate::error::CalcError;
use crate::given::Given;

/// The most lines of an estimate.
const MOST_LINES: usize = 500;

/// Lines of an estimate added up.
pub const ESTIMATE_LINES: Calculator = Calculator {
    id: "estimate-lines",
    group: Group::Papers,
    name: "Lines of an estimate",
    meaning: "parts with markup, labour, sublet work, other lines, tax and core deposits added up exactly, with the rounding said",
    inputs: &[
        Input::text("currency", "three letters of ISO 4217, such as EUR; it sets how many decimals there are"),
        Input::lines(
            "lines",
            "one row per line: `part, what, cost each, count, markup %`; `labour, what, hours, rate`; `sublet, what, quote, markup %`; `other, what, amount`; `core, what, deposit each, count`; a last cell `taxed` or `no tax` overrules the kind",
        ),
        Input::text("tax", "rate of tax, such as 8.25 %").or("0 %"),
        Input::text("taxed", "which kinds of line are taxed: part, labour, sublet, other, or all; local law decides")
            .optional(),
        Input::choice(
            "tax_by",
            "whether tax is rounded on each line or on the total; local law decides",
            &["total", "line"],
        )
        .or("total"),
        Input::choice(
            "prices",
            "whether the amounts typed are without tax or include it",
            &["without-tax", "with-tax"],
        )
        .or("without-tax"),
        Input::choice(
            "rounding",
            "to the minor unit: middle away from zero, middle to even, or always down",
            &["half-up", "half-even", "down"],
        )
        .or("half-up"),
    ],
    outputs: &[
        Output::any("parts", "parts with their markup"),
        Output::any("labour", "hours times rate"),
        Output::any("sublet", "work bought in, with its markup"),
        Output::any("other", "other lines"),
        Output::any("subtotal", "all lines without tax and without deposits"),
        Output::any("tax", "tax"),
        Output::any("total", "all lines with tax, without deposits"),
        Output::any("deposits", "core deposits, given back when the old parts are"),
        Output::any("to_pay", "total with deposits"),
    ],
    workings: &[
        "parts is the sum of count × cost × (1 + markup), each line rounded",
        "labour is the sum of hours × rate, each line rounded",
        "sublet is the sum of quote × (1 + markup), each line rounded",
        "other is the sum of the other amounts",
        "subtotal = parts + labour + sublet + other",
        "tax is the rate times the lines of the kinds in taxed, rounded on the total or on each line as tax_by says",
        "total = subtotal + tax",
        "deposits is the sum of count × deposit",
        "to_pay = total + deposits",
    ],
    sources: &[
        "arithmetic; ISO 4217 for the minor units, IEC 60559 for the names of the roundings [published]; what is taxed and how tax is rounded is local law",
    ],
    example: &[
        ("currency", "EUR"),
        (
            "lines",
            "part, gasket set, 120.00, 1, 30 %; part, head bolt, 4.35, 10, 30 %; labour, take off and refit, 6.5, 85.00; sublet, face the head, 140.00, 15 %; other, sealant and cleaner, 12.50; core, cylinder head, 150.00, 1",
        ),
        ("tax", "8.25 %"),
        ("taxed", "part other"),
    ],
    cautions: &[],
    formula: estimate_lines,
};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Part,
    Labour,
    Sublet,
    Other,
    Core,
}

impl Kind {
    const TAXABLE: [Self; 4] = [Self::Part, Self::Labour, Self::Sublet, Self::Other];

    const fn word(self) -> &'static str {
        match self {
            Self::Part => "part",
            Self::Labour => "labour",
            Self::Sublet => "sublet",
            Self::Other => "other",
            Self::Core => "core",
        }
    }
}

/// One line priced: its amount as typed (with or without tax), rounded.
struct Line {
    kind: Kind,
    amount: Money,
    taxed: bool,
}

/// What holds for all lines.
struct Rules {
    currency: Currency,
    rounding: Rounding,
    taxed: Vec<Kind>,
}

impl Rules {
    fn read(given: &Given, rate: Decimal) -> Result<Self, CalcError> {
        let code = given.text("currency").ok_or_else(|| given.missing("currency"))?;
        let currency = Currency::from_code(&code.to_uppercase()).ok_or_else(|| {
            given.out_of_domain("currency", "is no currency code of ISO 4217; type three letters such as EUR or USD")
        })?;
        minor_digits(currency).map_err(|error| given.out_of_domain("currency", error.to_string()))?;
        let rounding = match given.text("rounding") {
            Some("half-even") => Rounding::HalfEven,
            Some("down") => Rounding::Down,
            _ => Rounding::HalfUp,
        };
        let mut taxed = Vec::new();
        match given.text("taxed") {
            None if rate.is_zero() => {}
            None => return Err(given.missing("taxed")),
            Some(words) => {
                for word in words.split([' ', ',']).filter(|word| !word.is_empty()) {
                    if word == "all" {
                        taxed.extend(Kind::TAXABLE);
                        continue;
                    }
                    let kind = Kind::TAXABLE.into_iter().find(|kind| kind.word() == word).ok_or_else(|| {
                        given.out_of_domain(
                            "taxed",
                            format!("holds {word:?}, which is none of part, labour, sublet, other, all"),
                        )
                    })?;
                    taxed.push(kind);
                }
            }
        }
        Ok(Self { currency, rounding, taxed })
    }
}

struct Place<'a> {
    row: usize,
    text: &'a str,
    rules: &'a Rules,
}

impl Place<'_> {
    fn refuse(&self, column: usize, typed: &str, why: impl Into<String>) -> CalcError {
        let typed = if typed.is_empty() { self.text } else { typed };
        CalcError::BadTable {
            key: "lines".to_owned(),
            row: self.row,
            column,
            typed: typed.chars().take(60).collect(),
            why: why.into(),
        }
    }

    fn money(&self, column: usize, text: &str) -> Result<Decimal, CalcError> {
        match parse_money(text, Some(self.rules.currency)) {
            Ok(MoneyReply::Value(money)) if money.currency() == self.rules.currency => Ok(money.amount()),
            Ok(MoneyReply::Value(money)) => Err(self.refuse(
                column,
                text,
                format!(
                    "is in {}, the estimate in {}; convert it first",
                    money.currency().code(),
                    self.rules.currency.code()
                ),
            )),
            Ok(MoneyReply::Question { ask, .. }) => Err(self.refuse(column, text, format!("has two readings: {ask}"))),
            Err(problem) => Err(self.refuse(column, text, format!("is no amount: {problem}"))),
        }
    }

    fn count(&self, column: usize, text: &str, what: &str) -> Result<Decimal, CalcError> {
        let bare = text.trim().trim_end_matches('h').trim();
        let read = bare.parse::<Decimal>().ok();
        read.filter(|number| *number >= Decimal::ZERO && *number <= Decimal::from(1_000_000))
            .ok_or_else(|| self.refuse(column, text, format!("is no {what} from 0 to 1000000; type it as 2 or 2.5")))
    }

    fn markup(&self, column: usize, text: &str) -> Result<Decimal, CalcError> {
        part_of_one(text).ok_or_else(|| self.refuse(column, text, "is no markup from 0 to 1000 %; type it as 30 %"))
    }

    fn rounded(&self, amount: Result<Decimal, MoneyError>) -> Result<Money, CalcError> {
        amount
            .and_then(|amount| Money::rounded_by(self.rules.rounding, amount, self.rules.currency))
            .map_err(|problem| self.refuse(1, "", problem.to_string()))
    }

    fn read(&self, cells: &[&str]) -> Result<(Line, Option<Decimal>), CalcError> {
        let (cells, told) = match cells {
            [cells @ .., "taxed"] => (cells, Some(true)),
            [cells @ .., "no tax"] => (cells, Some(false)),
            _ => (cells, None),
        };
        let product = |a: Decimal, b: Decimal| a.checked_mul(b).ok_or(MoneyError::TooLarge);
        let raised = |a: Decimal, markup: Decimal| product(a, Decimal::ONE + markup);
        let mut markup = None;
        let (kind, amount) = match cells {
            ["part", _, cost, rest @ ..] => {
                let (count, by) = match rest {
                    [] => (Decimal::ONE, Decimal::ZERO),
                    [count] => (self.count(4, count, "count")?, Decimal::ZERO),
                    [count, by] => (self.count(4, count, "count")?, self.markup(5, by)?),
                    _ => {
                        return Err(self.refuse(
                            6,
                            "",
                            "has too many cells; give: part, what, cost each, count, markup %",
                        ));
                    }
                };
                markup = Some(by);
                (Kind::Part, product(self.money(3, cost)?, count).and_then(|cost| raised(cost, by)))
            }
            ["labour", _, hours, rate] => {
                (Kind::Labour, product(self.count(3, hours, "number of hours")?, self.money(4, rate)?))
            }
            ["sublet", _, quote] => (Kind::Sublet, Ok(self.money(3, quote)?)),
            ["sublet", _, quote, by] => {
                let by = self.markup(4, by)?;
                markup = Some(by);
                (Kind::Sublet, raised(self.money(3, quote)?, by))
            }
            ["other", _, amount] => (Kind::Other, Ok(self.money(3, amount)?)),
            ["core", _, deposit] => (Kind::Core, Ok(self.money(3, deposit)?)),
            ["core", _, deposit, count] => {
                (Kind::Core, product(self.money(3, deposit)?, self.count(4, count, "count")?))
            }
            [kind, ..] if ["part", "labour", "sublet", "other", "core"].contains(kind) => {
                return Err(self.refuse(
                    1,
                    "",
                    "has the wrong cells; give: part, what, cost, count, markup %; labour, what, hours, rate; sublet, what, quote, markup %; other, what, amount; core, what, deposit, count",
                ));
            }
            _ => {
                return Err(self.refuse(
                    1,
                    cells.first().copied().unwrap_or(""),
                    "is none of part, labour, sublet, other, core",
                ));
            }
        };
        let taxed = told.unwrap_or_else(|| self.rules.taxed.contains(&kind));
        if kind == Kind::Core && taxed {
            return Err(self.refuse(1, "", "taxes a deposit; where law wants that, give the deposit as `other`"));
        }
        Ok((Line { kind, amount: self.rounded(amount)?, taxed }, markup))
    }
}

fn estimate_lines(given: &Given) -> Result<Computed, CalcError> {
    let rate = part_of_one(given.text("tax").unwrap_or("0"))
        .ok_or_else(|| given.out_of_domain("tax", "is no rate from 0 to 1000 %; type it as 8.25 %"))?;
    let rules = Rules::read(given, rate)?;
    let text = given.text("lines").ok_or_else(|| given.missing("lines"))?;
    let rows = rows_of(text);
    if rows.is_empty() || rows.len() > MOST_LINES {
        return Err(given.out_of_domain("lines", format!("must hold from 1 to {MOST_LINES} lines, one a row")));
    }
    let mut computed = Computed::default();
    let mut lines = Vec::new();
    let mut markups: Vec<Decimal> = Vec::new();
    for (row, text, cells) in &rows {
        let (line, markup) = Place { row: *row, text, rules: &rules }.read(cells)?;
        if let Some(markup) = markup.filter(|markup| *markup > Decimal::ZERO && !markups.contains(markup)) {
            markups.push(markup);
        }
        lines.push(line);
    }
    let refused = |error: MoneyError| given.do_not_go_together(error.to_string());
    let with_tax = given.text("prices") == Some("with-tax");
    let per_line = given.text("tax_by") == Some("line");
    let zero = Money::zero(rules.currency).map_err(refused)?;
    let sum = |wanted: &dyn Fn(&Line) -> bool| {
        lines
            .iter()
            .filter(|line| wanted(line))
            .try_fold(zero, |so_far, line| so_far.plus(&line.amount))
            .map_err(refused)
    };
    let tax_rules = TaxRules {
        rate,
        by: if per_line { TaxBy::Line } else { TaxBy::Total },
        prices: if with_tax { Prices::WithTax } else { Prices::WithoutTax },
        rounding: rules.rounding,
    };
    let billed: Vec<(Money, bool)> =
        lines.iter().filter(|line| line.kind != Kind::Core).map(|line| (line.amount, line.taxed)).collect();
    let taxed = tax_rules.add_up(rules.currency, &billed).map_err(refused)?;
    let deposits = sum(&|line| line.kind == Kind::Core)?;
    for (key, kind) in
        [("parts", Kind::Part), ("labour", Kind::Labour), ("sublet", Kind::Sublet), ("other", Kind::Other)]
    {
        computed.put_money(key, sum(&|line| line.kind == kind)?);
    }
    computed.put_money("subtotal", taxed.net);
    computed.put_money("tax", taxed.tax);
    computed.put_money("total", taxed.total);
    computed.put_money("deposits", deposits);
    computed.put_money("to_pay", taxed.total.plus(&deposits).map_err(refused)?);
    computed.note(format!(
        "each line is rounded {} to {} decimals; tax is rounded on {}",
        given.text("rounding").unwrap_or("half-up").replace('-', " "),
        minor_digits(rules.currency).map_err(refused)?,
        if per_line { "each line" } else { "the total" }
    ));
    if with_tax {
        computed.note("parts, labour, sublet and other are as typed, with tax inside where the line is taxed");
    }
    for markup in markups {
        let margin = markup / (Decimal::ONE + markup) * Decimal::ONE_HUNDRED;
        computed.note(format!(
            "a markup of {} % is a margin of {} %",
            (markup * Decimal::ONE_HUNDRED).normalize(),
            margin.round_dp(1).normalize()
        ));
    }
    computed.note("what is taxed, at which rate and how it is rounded is local law; ask whoever keeps the books");
    Ok(computed)
}
