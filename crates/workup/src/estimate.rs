//! The estimate: every line of the chosen work with its price, or what is missing for one.
//!
//! The lines add up to the total, each rounded once to the minor unit of the currency. As long as no quote takes the
//! place of a usual price and nothing is asked for besides the option, the total is the price that the option has when
//! it is chosen, since what the sure lines do not hold stands as a line of its own: work that depends on what is found.
//! Whatever makes the two differ is listed with its amount, and those amounts add up to the difference.

use std::collections::BTreeSet;

use anatomy::EngineLayout;
use knowledge::limits::AppliesTo;
use knowledge::workshop::{DoneBy, Item, Operation, PerWhat, RepairOption, Reuse, Span};
use logbook::{Fact, MoneyTold, QuoteReceived};
use quantity::tax::part_of_one;
use quantity::{Charge, Currency, Decimal, Money, Prices, Rounding, TaxBy, TaxRules};
use serde::Serialize;

use crate::money::OptionLine;
use crate::quotes::aged::{self, Aged};
use crate::words::of_engines;
use crate::work::{self, Judged, Reach};

/// A class of a block counts as sure from this chance on \[ours\]: nine in ten, as the low end of an option's price.
const SURE: f64 = 0.9;

/// What may still be found is named from this chance on \[ours\].
const WORTH_NAMING: f64 = 0.1;

/// Most of it that is named \[ours\].
const NAMED: usize = 5;

/// An amount from low to high in one currency.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Range {
    /// The low end.
    pub lo: Money,
    /// The high end.
    pub hi: Money,
}

impl Range {
    /// One amount.
    #[must_use]
    pub const fn exact(amount: Money) -> Self {
        Self { lo: amount, hi: amount }
    }

    pub(crate) fn plus(&self, other: &Self) -> Option<Self> {
        Some(Self { lo: self.lo.plus(&other.lo).ok()?, hi: self.hi.plus(&other.hi).ok()? })
    }

    fn minus(&self, other: &Self) -> Option<Self> {
        Some(Self { lo: self.lo.minus(&other.lo).ok()?, hi: self.hi.minus(&other.hi).ok()? })
    }

    fn is_zero(&self) -> bool {
        self.lo.amount().is_zero() && self.hi.amount().is_zero()
    }

    /// The ranges added up; nothing for none, or where one does not fit the others.
    pub(crate) fn sum<'a>(ranges: impl IntoIterator<Item = &'a Self>) -> Option<Self> {
        let mut ranges = ranges.into_iter();
        let first = *ranges.next()?;
        ranges.try_fold(first, |all, one| all.plus(one))
    }
}

/// The price of a line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Price {
    /// It is known, or lies between two amounts.
    Known(Range),
    /// It is in the price of another line.
    In(String),
    /// Nobody can say yet, and this is missing.
    Open(String),
    /// One price was quoted for the whole, and the quote does not say of this work whether it holds it.
    NotSaid,
}

/// What a line is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Group {
    /// What the option always pays: work, parts, fluids, freight.
    Always,
    /// Opening that is still to be done.
    Opening,
    /// What the readings make as good as sure, and what depends on what is found.
    Found,
    /// What was asked for besides the option, and what the shop adds.
    Besides,
}

/// One line of an estimate.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct EstimateLine {
    /// What it is for.
    pub group: Group,
    /// What is done or bought.
    pub what: String,
    /// Who does it or where it comes from, in words.
    pub who: String,
    /// How the price comes about: hours and rate, a usual price, a quote.
    pub how: String,
    /// What it is paid for; nothing where one price holds several of them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub charge: Option<Charge>,
    /// Its price.
    pub price: Price,
}

/// Why the total is not the price that the option has when it is chosen.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Differs {
    /// Why, in words.
    pub why: String,
    /// By how much.
    pub by: Range,
}

/// Money laid out that comes back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Deposit {
    /// Whose it is.
    pub supplier: String,
    /// How much.
    pub amount: Money,
}

/// The tax as told: by the rules of the shop, or reckoned both ways while nobody has told whether the prices hold it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Tax {
    /// What it is called.
    pub name: String,
    /// Per cent, as typed.
    pub percent: String,
    /// Whether the prices hold it, where that is told.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub prices: Option<Prices>,
    /// What comes on top, if the prices are without it.
    pub on_top: Range,
    /// The total with it on top.
    pub with: Range,
    /// What is in the total, if the prices hold it already.
    pub inside: Range,
    /// What is taxed and how it is rounded, in words; empty while the rules are not told.
    pub how: String,
}

impl Tax {
    /// What is to be paid for a total: with the tax where it comes on top; nothing while that is not told.
    #[must_use]
    pub fn to_pay(&self, total: &Range) -> Option<Range> {
        match self.prices? {
            Prices::WithoutTax => Some(self.with),
            Prices::WithTax => Some(*total),
        }
    }
}

/// The once-only parts of one joint, and what pays them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct JointParts {
    /// The joint.
    pub joint: String,
    /// Its parts that have the same answer, by id.
    pub parts: Vec<String>,
    /// What pays them.
    pub price: Price,
}

/// The estimate of one option.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Estimate {
    /// The option.
    pub option: String,
    /// The lines.
    pub lines: Vec<EstimateLine>,
    /// Every line that has a price, added up; nothing where none has.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub total: Option<Range>,
    /// How many lines have no price yet.
    pub open: usize,
    /// The price that the option has when it is chosen, where it is known in money.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub when_chosen: Option<Range>,
    /// Why the total differs from it; adds up to the difference.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub differs: Vec<Differs>,
    /// Deposits, which are in no line.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub deposits: Vec<Deposit>,
    /// What quotes past their day do to the price, a sentence each.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub old_quotes: Vec<String>,
    /// Tax, which is in no line.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tax: Option<Tax>,
    /// Once-only parts of the joints that are opened.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<JointParts>,
}

/// A figure of the knowledge as the exact decimal it was written as.
fn exact(x: f64) -> Option<Decimal> {
    Decimal::try_from(x).ok()
}

/// Figures from low to high in words.
fn spread(span: Span, unit: &str) -> String {
    if unit == "h" && span.hi < 1.0 {
        // Part of an hour is spoken of in minutes.
        return spread(Span { lo: (60.0 * span.lo).round(), hi: (60.0 * span.hi).round() }, "min");
    }
    // Four digits, so that figure times rate is the price beside it.
    let short = |x: f64| quantity::print::printed(x, 4);
    if span.hi - span.lo < 1e-9 {
        format!("{} {unit}", short(span.lo))
    } else {
        format!("{} to {} {unit}", short(span.lo), short(span.hi))
    }
}

fn known(price: &Price) -> Option<&Range> {
    match price {
        Price::Known(range) => Some(range),
        Price::In(_) | Price::Open(_) | Price::NotSaid => None,
    }
}

/// What an estimate is worked out from.
struct Desk<'a> {
    judged: Judged<'a>,
    layout: &'a EngineLayout,
    line: &'a OptionLine,
    option: &'a RepairOption,
    rate: Option<Money>,
    currency: Option<Currency>,
    /// Quotes for single needs that count.
    quotes: Vec<&'a Fact<QuoteReceived>>,
}

impl Estimate {
    /// Prices an option line by line.
    #[must_use]
    pub fn of(judged: &Judged<'_>, layout: &EngineLayout, line: &OptionLine, reach: &Reach) -> Self {
        let empty = Self {
            option: line.id.clone(),
            lines: Vec::new(),
            total: None,
            open: 0,
            when_chosen: None,
            differs: Vec::new(),
            deposits: Vec::new(),
            old_quotes: Vec::new(),
            tax: None,
            parts: Vec::new(),
        };
        let Some(option) = work::option(judged.knowledge, &line.id) else { return empty };
        let state = judged.state;
        let whole = state.quotes.iter().rfind(|q| q.option.as_deref() == Some(&line.id) && q.need.is_none());
        let rate = state.rates.labour_rate.filter(|r| r.amount() > Decimal::ZERO);
        let quotes = counting(judged, option);
        let currency = rate
            .map(|r| r.currency())
            .or_else(|| whole.map(|q| q.price.currency()))
            .or_else(|| quotes.first().map(|q| q.price.currency()));
        let desk = Desk { judged: *judged, layout, line, option, rate, currency, quotes };
        let when_chosen = desk.when_chosen(whole);
        let (lines, differs) = match whole {
            Some(quote) => (desk.as_quoted(quote), Vec::new()),
            None => desk.line_by_line(when_chosen),
        };
        let total = Range::sum(lines.iter().filter_map(|l| known(&l.price)));
        let open = lines.iter().filter(|l| matches!(l.price, Price::Open(_))).count();
        let deposits = whole
            .into_iter()
            .chain(desk.quotes.iter().copied())
            .filter_map(|q| Some(Deposit { supplier: q.supplier.clone(), amount: q.core_deposit? }))
            .collect();
        let tax = total.and_then(|total| tax(&state.rates, &lines, &total));
        let parts = desk.parts(reach, whole);
        let old_quotes = aged::what_moved(state, judged.knowledge, &line.id);
        Self { lines, total, open, when_chosen, differs, deposits, old_quotes, tax, parts, ..empty }
    }
}

/// The quotes for single needs that count: those taken up with the choice; before a choice the last one for each need
/// of the option.
fn counting<'a>(judged: &Judged<'a>, option: &RepairOption) -> Vec<&'a Fact<QuoteReceived>> {
    let state = judged.state;
    let chosen = state.chosen.as_ref().filter(|c| c.option == option.id);
    let single = state.quotes.iter().filter(|q| q.need.is_some());
    if let Some(chosen) = chosen {
        let taken = if chosen.quotes.is_empty() { Vec::new() } else { aged::taken(state) };
        return single.filter(|q| taken.contains(&q.in_entry)).collect();
    }
    let mut last: Vec<&Fact<QuoteReceived>> = Vec::new();
    for quote in single {
        let need = quote.need.as_deref().unwrap_or_default();
        let wanted = option.operations.iter().any(|o| o == need)
            || option.items.iter().any(|i| i.parts.iter().any(|p| p == need));
        if wanted {
            last.retain(|q| q.need != quote.need);
            last.push(quote);
        }
    }
    last
}

/// The tax on lines, on top and inside.
///
/// A line that holds several kinds of charge of which only some are taxed is taxed in the high end and not in the low one.
fn tax(rates: &MoneyTold, lines: &[EstimateLine], total: &Range) -> Option<Tax> {
    let percent = rates.tax_percent.clone()?;
    let rate = part_of_one(&percent).filter(|rate| !rate.is_zero())?;
    let priced: Vec<(Option<Charge>, &Range)> =
        lines.iter().filter_map(|l| Some((l.charge, known(&l.price)?))).collect();
    let some_only = !rates.taxed.is_empty() && Charge::ALL.iter().any(|charge| !rates.taxes(*charge));
    let reckon = |prices: Prices, end: fn(&Range) -> Money, mixed: bool| {
        let taxed = |charge: Option<Charge>| charge.map_or(mixed || !some_only, |charge| rates.taxes(charge));
        let rules = TaxRules {
            rate,
            by: rates.tax_by.unwrap_or_default(),
            prices,
            rounding: rates.tax_rounding.unwrap_or_default(),
        };
        let lines: Vec<(Money, bool)> = priced.iter().map(|(charge, range)| (end(range), taxed(*charge))).collect();
        rules.add_up(total.lo.currency(), &lines).ok()
    };
    let range = |prices: Prices| {
        let lo = reckon(prices, |r| r.lo, false)?;
        let hi = reckon(prices, |r| r.hi, true)?;
        Some((Range { lo: lo.tax, hi: hi.tax }, Range { lo: lo.total, hi: hi.total }))
    };
    let (on_top, with) = range(Prices::WithoutTax)?;
    let (inside, _) = range(Prices::WithTax)?;
    let mixed = "a line that holds several is taxed in the high end";
    let how = rates.tax_rules().map(|rules| tax_in_words(rates, &rules, mixed)).unwrap_or_default();
    Some(Tax { name: rates.tax_word().to_owned(), percent, prices: rates.prices, on_top, with, inside, how })
}

/// What is taxed and how it is rounded; `mixed` says what becomes of a line that is no single kind, where only some are taxed.
#[must_use]
pub fn tax_in_words(rates: &MoneyTold, rules: &TaxRules, mixed: &str) -> String {
    let on = if Charge::ALL.iter().all(|charge| rates.taxes(*charge)) {
        "on every line".to_owned()
    } else {
        let names: Vec<&str> = rates.taxed.iter().map(|charge| charge.word()).collect();
        format!("on {} only; {mixed}", names.join(", "))
    };
    let by = match rules.by {
        TaxBy::Total => "the total",
        TaxBy::Line => "each line",
    };
    let rounding = match rules.rounding {
        Rounding::HalfUp => "the middle away from zero",
        Rounding::HalfEven => "the middle to the even one",
        Rounding::Down => "always down",
    };
    format!("{on}; rounded on {by}, {rounding}")
}

impl<'a> Desk<'a> {
    /// The price that the option has when it is chosen.
    fn when_chosen(&self, whole: Option<&Fact<QuoteReceived>>) -> Option<Range> {
        if let Some(quote) = whole {
            let freight = quote.freight.map(|f| self.carried(quote, f));
            let price = self.carried(quote, quote.price);
            return freight.map_or(Some(price), |freight| price.plus(&freight));
        }
        let [lo, hi] = self.line.price;
        Some(Range { lo: self.rate?.times(exact(lo)?).ok()?, hi: self.rate?.times(exact(hi)?).ok()? })
    }

    /// Labour units in money.
    fn units(&self, span: Span) -> Price {
        let Some(rate) = self.rate else { return Price::Open("the hourly rate is not told".to_owned()) };
        let amount = |x: f64| exact(x).and_then(|d| rate.times(d).ok());
        match (amount(span.lo), amount(span.hi)) {
            (Some(lo), Some(hi)) => Price::Known(Range { lo, hi }),
            (Some(_) | None, Some(_) | None) => Price::Open("the figure is too large to be an amount".to_owned()),
        }
    }

    /// An amount that somebody named.
    fn amount(&self, money: Money) -> Price {
        if self.currency.is_none_or(|c| c == money.currency()) {
            Price::Known(Range::exact(money))
        } else {
            Price::Open(format!("quoted as {money}, in another currency: convert it"))
        }
    }

    /// How a quote is carried, where it is past its day.
    fn aged(&self, quote: &Fact<QuoteReceived>) -> Option<Aged> {
        Aged::of(self.judged.state, self.judged.knowledge, quote)
    }

    /// An amount of a quote: as it stands, or as a quote past its day is carried.
    fn carried(&self, quote: &Fact<QuoteReceived>, money: Money) -> Range {
        self.aged(quote).and_then(|aged| aged.carry(money)).unwrap_or_else(|| Range::exact(money))
    }

    /// The same as a price.
    fn amount_of(&self, quote: &Fact<QuoteReceived>, money: Money) -> Price {
        let named = self.amount(money);
        if known(&named).is_some() { Price::Known(self.carried(quote, money)) } else { named }
    }

    /// How the price of a quote comes about: in `usual` words, or how old it is.
    fn how_quoted(&self, quote: &Fact<QuoteReceived>, usual: &str) -> String {
        self.aged(quote).map_or_else(|| usual.to_owned(), |aged| aged.words(quote.price))
    }

    fn quote_for(&self, item: &Item) -> Option<&'a Fact<QuoteReceived>> {
        let need = |q: &&&Fact<QuoteReceived>| {
            q.need.as_ref().is_some_and(|n| item.operations.contains(n) || item.parts.contains(n))
        };
        self.quotes.iter().rfind(need).copied()
    }

    fn names(&self, ids: &[String]) -> String {
        let names = ids.iter().filter_map(|id| work::operation(self.judged.knowledge, id)).map(|o| o.name.clone());
        names.collect::<Vec<_>>().join("; ")
    }

    fn item_name(&self, item: &Item) -> String {
        item.what.clone().unwrap_or_else(|| self.names(&item.operations))
    }

    /// One line for the whole option, as quoted. The work that the option usually takes stands under it: what a quote
    /// includes are the words of who wrote it, so none of that work is said to be in its price.
    fn as_quoted(&self, quote: &'a Fact<QuoteReceived>) -> Vec<EstimateLine> {
        let supplier = quote.supplier.clone();
        let includes =
            if quote.includes.is_empty() { "the quote does not say".to_owned() } else { quote.includes.join(", ") };
        let mut out = vec![EstimateLine {
            group: Group::Always,
            what: format!("{}, the whole job. Includes: {includes}", self.line.name),
            who: supplier.clone(),
            how: self.how_quoted(quote, "quoted as one price"),
            charge: None,
            price: self.amount_of(quote, quote.price),
        }];
        out.extend(quote.freight.map(|freight| EstimateLine {
            group: Group::Always,
            what: "Freight".to_owned(),
            who: supplier,
            how: "as quoted".to_owned(),
            charge: Some(Charge::Other),
            price: self.amount_of(quote, freight),
        }));
        for operation in work::operations(self.judged.state, self.judged.knowledge, &self.option.id) {
            out.push(EstimateLine {
                group: Group::Always,
                what: operation.name.clone(),
                who: who(operation).to_owned(),
                how: String::new(),
                charge: None,
                price: Price::NotSaid,
            });
        }
        out
    }

    /// Every item, what is still to be opened, what is sure, what depends on what is found, and what comes besides.
    fn line_by_line(&self, when_chosen: Option<Range>) -> (Vec<EstimateLine>, Vec<Differs>) {
        let mut lines = Vec::new();
        // The same price with no quote in it, line by line: what is left of it depends on what is found.
        let mut usual: Vec<Price> = Vec::new();
        let mut replaced: Vec<(Vec<Price>, Vec<Price>)> = Vec::new();
        let made = &self.line.made;
        let beside =
            made.beside.as_ref().and_then(|(id, spans)| Some((work::option(self.judged.knowledge, id)?, spans)));
        let own = self.option.items.iter().zip(&made.items);
        let others = beside.into_iter().flat_map(|(option, spans)| option.items.iter().zip(spans));
        for (item, span) in own.chain(others.filter(|(_, span)| span.hi > 0.0)) {
            let band = self.units(*span);
            usual.push(band.clone());
            let freight_told = item
                .freight_of
                .as_ref()
                .and_then(|id| self.quotes.iter().rfind(|q| q.need.as_ref() == Some(id)).copied());
            let new = match (freight_told, self.quote_for(item)) {
                (Some(quote), _) => vec![self.freight(item, quote)],
                (None, Some(quote)) => self.quoted(item, quote),
                (None, None) => vec![self.usual_line(item, *span, band.clone())],
            };
            if freight_told.is_some() || self.quote_for(item).is_some() {
                replaced.push((vec![band], new.iter().map(|l| l.price.clone()).collect()));
            }
            lines.extend(new);
        }
        for remedy in &made.remedies {
            let band = self.units(remedy.cost);
            usual.push(band.clone());
            // Work that was asked for by itself stands below with its own price, and is not paid twice.
            if work::asked_for(self.judged.state).iter().any(|id| remedy.operations.iter().any(|o| o == id)) {
                replaced.push((vec![band], Vec::new()));
                continue;
            }
            lines.push(EstimateLine {
                group: Group::Always,
                what: format!("So that it does not happen again: {}", remedy.what),
                who: "own shop".to_owned(),
                how: spread(remedy.cost, "units"),
                charge: None,
                price: band,
            });
        }
        for (stage, units) in &made.opening {
            let span = Span { lo: *units, hi: *units };
            let price = self.units(span);
            usual.push(price.clone());
            lines.push(EstimateLine {
                group: Group::Opening,
                what: format!("Opening as far as: {}", stage.replace(['-', '_'], " ")),
                who: "own shop".to_owned(),
                how: spread(span, "h"),
                charge: Some(Charge::Labour),
                price,
            });
        }
        let (inside, besides) = self.asked_for();
        // A block for which work was asked for stands by that work, and the rest of its price by what is found.
        let asked: Vec<&str> = inside.iter().map(|(id, _)| id.as_str()).collect();
        for line in self.sure(&asked) {
            usual.push(line.price.clone());
            lines.push(line);
        }
        let inside: Vec<EstimateLine> = inside.into_iter().map(|(_, line)| line).collect();
        let mut differs = Vec::new();
        if let Some(found) = self.found(when_chosen, &usual, &inside, &mut differs) {
            lines.extend(inside);
            lines.push(found);
        } else {
            lines.extend(inside);
        }
        let quoted: Vec<Option<Range>> = replaced.iter().map(|(old, new)| self.change(old, new)).collect();
        if let Some(by) = Range::sum(quoted.iter().flatten()).filter(|r| !r.is_zero()) {
            differs.push(Differs { why: "quotes in the place of usual prices".to_owned(), by });
        }
        let mut more = besides;
        more.extend(self.markup());
        let named: Vec<&Range> = more.iter().filter_map(|l| known(&l.price)).collect();
        if let Some(by) = Range::sum(named).filter(|r| !r.is_zero()) {
            differs.push(Differs { why: "asked for besides, and what the shop adds".to_owned(), by });
        }
        lines.extend(more);
        if when_chosen.is_none() {
            differs.clear();
        }
        (lines, differs)
    }

    /// By how much some prices together are more than others.
    fn change(&self, old: &[Price], new: &[Price]) -> Option<Range> {
        let zero = Range::exact(Money::zero(self.currency?).ok()?);
        let sum = |prices: &[Price]| Range::sum(std::iter::once(&zero).chain(prices.iter().filter_map(known)));
        sum(new)?.minus(&sum(old)?)
    }

    fn usual_line(&self, item: &Item, span: Span, price: Price) -> EstimateLine {
        let operations: Vec<&Operation> =
            item.operations.iter().filter_map(|id| work::operation(self.judged.knowledge, id)).collect();
        let hours = !operations.is_empty() && operations.iter().all(|o| o.machine.is_none());
        let unit = if hours { "h" } else { "units" };
        let charge = if item.freight_of.is_some() {
            Some(Charge::Other)
        } else if hours {
            Some(Charge::Labour)
        } else if operations.is_empty() {
            Some(Charge::Parts)
        } else {
            operations.iter().all(|o| o.done_by == DoneBy::Machine).then_some(Charge::Sublet)
        };
        let heads = self.line.made.heads;
        let count = if item.per_head && heads > 1 { format!(", {heads} heads") } else { String::new() };
        EstimateLine {
            group: Group::Always,
            what: self.item_name(item),
            who: operations.first().map_or("bought", |o| who(o)).to_owned(),
            how: format!("{}{count}", spread(span, unit)),
            charge,
            price,
        }
    }

    /// An item for which there is a quote: the quote for what is bought, and the own hours that go with it.
    fn quoted(&self, item: &Item, quote: &Fact<QuoteReceived>) -> Vec<EstimateLine> {
        let mut out = Vec::new();
        let per = if item.per_head { self.line.made.heads } else { 1 };
        for id in &item.operations {
            out.extend(work::operation(self.judged.knowledge, id).and_then(|o| self.own_hours(o, Some(per))));
        }
        let name =
            if out.is_empty() { self.item_name(item) } else { format!("{}: what is bought", self.item_name(item)) };
        out.push(self.as_told(Group::Always, name, quote));
        out.extend(self.more_line(Group::Always, quote));
        if quote.freight.is_some() && !self.has_freight(quote) {
            out.push(self.freight_line(quote));
        }
        out
    }

    /// Whether the freight of what a quote is for has an item of its own.
    fn has_freight(&self, quote: &QuoteReceived) -> bool {
        quote.need.is_some() && self.option.items.iter().any(|i| i.freight_of == quote.need)
    }

    fn as_told(&self, group: Group, what: String, quote: &Fact<QuoteReceived>) -> EstimateLine {
        let includes =
            if quote.includes.is_empty() { String::new() } else { format!(" ({})", quote.includes.join(", ")) };
        EstimateLine {
            group,
            what: format!("{what}{includes}"),
            who: quote.supplier.clone(),
            how: self.how_quoted(quote, "as quoted"),
            charge: self.bought_as(quote),
            price: self.amount_of(quote, quote.price),
        }
    }

    /// What a quote for a single need is paid for: work, where a machine shop does it, else what is bought.
    fn bought_as(&self, quote: &QuoteReceived) -> Option<Charge> {
        let operation = quote.need.as_deref().and_then(|need| work::operation(self.judged.knowledge, need));
        match operation.map(|o| o.done_by) {
            Some(DoneBy::Machine) => Some(Charge::Sublet),
            Some(DoneBy::Shop) | None => Some(Charge::Parts),
            Some(DoneBy::Either) => None,
        }
    }

    fn freight(&self, item: &Item, quote: &Fact<QuoteReceived>) -> EstimateLine {
        let price = quote.freight.map_or_else(
            || Price::Open("the quote names no freight: ask whether it is in the price".to_owned()),
            |f| self.amount_of(quote, f),
        );
        EstimateLine {
            group: Group::Always,
            what: self.item_name(item),
            who: quote.supplier.clone(),
            how: "as quoted".to_owned(),
            charge: Some(Charge::Other),
            price,
        }
    }

    fn freight_line(&self, quote: &Fact<QuoteReceived>) -> EstimateLine {
        let price =
            quote.freight.map_or_else(|| Price::Open("no freight is told".to_owned()), |f| self.amount_of(quote, f));
        EstimateLine {
            group: Group::Always,
            what: "Freight".to_owned(),
            who: quote.supplier.clone(),
            how: "as quoted".to_owned(),
            charge: Some(Charge::Other),
            price,
        }
    }

    /// The own hours of an operation that also buys something; nothing where the price is for the work itself.
    fn own_hours(&self, operation: &Operation, count: Option<usize>) -> Option<EstimateLine> {
        let hours = operation.labour.filter(|_| operation.done_by == DoneBy::Shop && operation.machine.is_some())?;
        Some(self.hours(Group::Always, operation, hours, count))
    }

    fn hours(&self, group: Group, operation: &Operation, hours: Span, count: Option<usize>) -> EstimateLine {
        let times = count.and_then(|n| u32::try_from(n).ok());
        let words = match times {
            Some(1) => spread(hours, "h"),
            Some(n) => format!("{n} times {}", spread(hours, "h")),
            None => format!("{} for each", spread(hours, "h")),
        };
        EstimateLine {
            group,
            what: operation.name.clone(),
            who: "own shop".to_owned(),
            how: words,
            charge: Some(Charge::Labour),
            price: times.map_or_else(
                || Price::Open("how many is not told".to_owned()),
                |n| self.units(hours.times(f64::from(n))),
            ),
        }
    }

    /// What each block that is mended surely needs, those left out for which work was asked for.
    fn sure(&self, asked: &[&str]) -> Vec<EstimateLine> {
        let mut out = Vec::new();
        for (block, prices) in self.judged.blocks.iter().zip(&self.line.made.blocks) {
            if asked.iter().any(|id| self.judged.mends(id, &block.id)) {
                continue;
            }
            let at_least = |k: usize| block.classes.iter().skip(k).map(|(_, p)| p).sum::<f64>();
            let sure = (0..block.classes.len()).rev().find(|k| at_least(*k) >= SURE).unwrap_or(0);
            let from = prices.get(sure..).unwrap_or_default();
            let lowest = |end: fn(&Span) -> f64| from.iter().map(end).fold(f64::INFINITY, f64::min);
            let span = Span { lo: lowest(|s| s.lo), hi: lowest(|s| s.hi) };
            if from.is_empty() || span.hi <= 0.0 {
                continue;
            }
            let (class, p) = block.classes.get(sure).cloned().unwrap_or_default();
            let work = match (sure, p >= SURE) {
                (0, true) => "put back as it is".to_owned(),
                (0, false) => "opened and closed, whatever is found".to_owned(),
                (_, true) => class.replace(['-', '_'], " "),
                (_, false) => format!("{} at least", class.replace(['-', '_'], " ")),
            };
            out.push(EstimateLine {
                group: Group::Found,
                what: format!("{}: {work}", block.name),
                who: "own or machine shop".to_owned(),
                how: spread(span, "units"),
                charge: None,
                price: self.units(span),
            });
        }
        out
    }

    /// What was asked for besides the option's own work: first what its price holds already, with the operation, as work
    /// that depends on what is found; then what comes on top.
    fn asked_for(&self) -> (Vec<(String, EstimateLine)>, Vec<EstimateLine>) {
        let (mut inside, mut besides) = (Vec::new(), Vec::new());
        let mut seen = BTreeSet::new();
        let chosen = self.judged.state.chosen.as_ref().is_some_and(|c| c.option == self.option.id);
        for id in work::asked_for(self.judged.state).into_iter().filter(|_| chosen) {
            if self.option.operations.iter().any(|o| o == id) || !seen.insert(id) {
                continue;
            }
            let quote = self.quotes.iter().rfind(|q| q.need.as_deref() == Some(id)).copied();
            let held = self.holds(id);
            let group = if held { Group::Found } else { Group::Besides };
            let mut list = Vec::new();
            let Some(operation) = work::operation(self.judged.knowledge, id) else {
                // A need that is no operation is a part or the shop's own words.
                besides.extend(quote.map(|q| self.as_told(group, id.replace(['-', '_'], " "), q)));
                besides.extend(quote.and_then(|q| self.more_line(group, q)));
                continue;
            };
            let count = self.count(operation);
            if let Some(quote) = quote {
                if let Some(hours) = operation.labour.filter(|_| operation.done_by == DoneBy::Shop && !held) {
                    list.push(self.hours(group, operation, hours, count));
                }
                list.push(self.as_told(group, format!("{}: what is bought", operation.name), quote));
                list.extend(self.more_line(group, quote));
                if quote.freight.is_some() {
                    list.push(EstimateLine { group, ..self.freight_line(quote) });
                }
            } else {
                list.push(self.unquoted(group, operation, count));
            }
            if held {
                inside.extend(list.into_iter().map(|line| (id.to_owned(), line)));
            } else {
                besides.extend(list);
            }
        }
        (inside, besides)
    }

    fn unquoted(&self, group: Group, operation: &Operation, count: Option<usize>) -> EstimateLine {
        if let (Some(hours), None) = (operation.labour, operation.machine) {
            return self.hours(group, operation, hours, count);
        }
        let either = operation.done_by == DoneBy::Either;
        let each = match (operation.labour, operation.machine) {
            (Some(hours), Some(machine)) if !either => hours.plus(machine),
            (_, Some(machine)) => machine,
            (hours, None) => hours.unwrap_or(Span::ZERO),
        };
        let charge = (operation.done_by == DoneBy::Machine).then_some(Charge::Sublet);
        let times = count.and_then(|n| u32::try_from(n).ok());
        let words = match times {
            Some(1) => spread(each, "units"),
            Some(n) => format!("{n} times {}", spread(each, "units")),
            None => format!("{} for each", spread(each, "units")),
        };
        EstimateLine {
            group,
            what: operation.name.clone(),
            who: who(operation).to_owned(),
            how: words,
            charge,
            price: times.map_or_else(
                || Price::Open("how many is not told".to_owned()),
                |n| self.units(each.times(f64::from(n))),
            ),
        }
    }

    /// Whether the option's own price holds an operation as work that depends on what is found.
    fn holds(&self, id: &str) -> bool {
        let Some(operation) = work::operation(self.judged.knowledge, id) else { return false };
        let priced = |c: &knowledge::workshop::BlockCost| c.class.values().any(|s| s.hi > 0.0);
        let block = self.option.costs.iter().any(|c| priced(c) && self.judged.mends(id, &c.block));
        let part = |p: &knowledge::workshop::PartCost| operation.cures.iter().any(|c| c.condition == p.condition);
        block || self.option.per_part.iter().any(part)
    }

    /// How often an operation is done, where that can be said.
    fn count(&self, operation: &Operation) -> Option<usize> {
        let sent = self.judged.state.machine_orders.iter().flat_map(|o| &o.lines);
        let sent = sent.filter(|l| l.operation == operation.id).count();
        if sent > 0 {
            return Some(sent);
        }
        let l = self.layout;
        match operation.per {
            PerWhat::Engine | PerWhat::Set => Some(1),
            PerWhat::Head | PerWhat::Deck => (l.heads().len() == 1).then_some(1),
            PerWhat::Cam => Some(l.cams().len()),
            PerWhat::Cylinder
            | PerWhat::Rod
            | PerWhat::Valve
            | PerWhat::ExhaustValve
            | PerWhat::HeadOrBlock
            | PerWhat::Face
            | PerWhat::Hole
            | PerWhat::Stud
            | PerWhat::Crack
            | PerWhat::Turbo => None,
        }
    }

    /// What is left of the option's price: work that depends on what is found. Where the lines that were asked for hold
    /// more than that, the difference says so.
    fn found(
        &self,
        when_chosen: Option<Range>,
        usual: &[Price],
        inside: &[EstimateLine],
        differs: &mut Vec<Differs>,
    ) -> Option<EstimateLine> {
        let may = self.may_be_found();
        let what = |more: bool| {
            let rest = if more {
                "The rest of that work, fitting and closing, and what depends on what is found"
            } else {
                "Work that depends on what is found"
            };
            if may.is_empty() { rest.to_owned() } else { format!("{rest}; likely: {}", may.join("; ")) }
        };
        let line = |more: bool, price: Price| EstimateLine {
            group: Group::Found,
            what: what(more),
            who: "own or machine shop".to_owned(),
            how: "as far as it is found".to_owned(),
            charge: None,
            price,
        };
        let Some(chosen) = when_chosen else {
            return (!may.is_empty()).then(|| line(false, Price::Open("the hourly rate is not told".to_owned())));
        };
        let zero = Money::zero(chosen.lo.currency()).ok()?;
        let held = Range::sum(std::iter::once(&Range::exact(zero)).chain(usual.iter().filter_map(known)))?;
        let left = chosen.minus(&held)?;
        let asked = Range::sum(inside.iter().filter_map(|l| known(&l.price)));
        let Some(asked) = asked else {
            return (!left.is_zero()).then(|| line(false, Price::Known(left)));
        };
        let rest = left.minus(&asked)?;
        let not_below = |m: Money| if m.amount() < Decimal::ZERO { zero } else { m };
        let lo = not_below(rest.lo);
        let hi = not_below(rest.hi);
        let kept = Range { lo, hi: if hi.amount() < lo.amount() { lo } else { hi } };
        let by = kept.minus(&rest)?;
        if !by.is_zero() {
            differs.push(Differs {
                why: "work asked for beyond what the usual price of this option holds".to_owned(),
                by,
            });
        }
        (!kept.is_zero()).then(|| line(true, Price::Known(kept)))
    }

    /// What the blocks and parts may still turn out to need, the likeliest first, in words.
    fn may_be_found(&self) -> Vec<String> {
        let mut out: Vec<(f64, String)> = Vec::new();
        for (block, prices) in self.judged.blocks.iter().zip(&self.line.made.blocks) {
            for ((class, p), price) in block.classes.iter().zip(prices).skip(1) {
                if *p >= WORTH_NAMING && *p < SURE && price.hi > 0.0 {
                    out.push((*p, format!("{}: {}", lower(&block.name), class.replace(['-', '_'], " "))));
                }
            }
        }
        for part in &self.option.per_part {
            for belief in self.judged.conditions.iter().filter(|b| b.id == part.condition) {
                let p = belief.states.iter().find(|(s, _)| *s == part.state).map_or(0.0, |(_, p)| *p);
                if p >= WORTH_NAMING {
                    let state = part.state.replace(['-', '_'], " ");
                    let place = if belief.place.is_empty() { String::new() } else { format!(", {}", belief.place) };
                    out.push((p, format!("{}{place}: {state}", lower(&belief.name))));
                }
            }
        }
        out.sort_by(|a, b| b.0.total_cmp(&a.0));
        out.into_iter().take(NAMED).map(|(p, words)| format!("{words} ({} engines)", of_engines(p))).collect()
    }

    /// What was ordered at the price of a quote beyond what that quote is for: how many in all, and by how much more.
    fn more_of(&self, quote: &Fact<QuoteReceived>) -> Option<(u32, Money)> {
        let orders = || self.judged.state.orders.iter().filter(|o| o.quote == Some(quote.in_entry));
        let prices: Vec<Money> = orders().map(|o| o.price).collect::<Option<_>>()?;
        let more = Money::sum(&prices).ok()?.minus(&quote.price).ok()?;
        (more.amount() > Decimal::ZERO).then(|| (orders().map(|o| o.quantity).sum(), more))
    }

    /// What was ordered beyond what a quote is for, as a line of its own under it.
    fn more_line(&self, group: Group, quote: &Fact<QuoteReceived>) -> Option<EstimateLine> {
        let (count, more) = self.more_of(quote)?;
        let need = quote.need.as_deref()?;
        let name = work::operation(self.judged.knowledge, need)
            .map_or_else(|| crate::words::title(need), |operation| operation.name.clone());
        Some(EstimateLine {
            group,
            what: format!("{name}: what is bought beyond that"),
            who: quote.supplier.clone(),
            how: format!("{count} ordered"),
            charge: self.bought_as(quote),
            price: self.amount(more),
        })
    }

    /// What the shop adds on parts that were quoted for.
    fn markup(&self) -> Option<EstimateLine> {
        let told = self.judged.state.rates.parts_markup_percent.as_deref()?;
        let share = part_of_one(told)?;
        let part = |q: &&&Fact<QuoteReceived>| {
            let operation = q.need.as_deref().and_then(|n| work::operation(self.judged.knowledge, n));
            operation.is_none_or(|o| o.done_by != DoneBy::Machine) && Some(q.price.currency()) == self.currency
        };
        let mut bought: Vec<Range> = self.quotes.iter().filter(part).map(|q| self.carried(q, q.price)).collect();
        let more = self.quotes.iter().filter(part).filter_map(|q| self.more_of(q));
        bought.extend(more.map(|(_, more)| Range::exact(more)));
        let sum = Range::sum(&bought)?;
        let amount = Range { lo: sum.lo.times(share).ok()?, hi: sum.hi.times(share).ok()? };
        let of = if sum.lo == sum.hi { sum.lo.to_string() } else { format!("{} to {}", sum.lo, sum.hi) };
        (amount.hi.amount() > Decimal::ZERO).then(|| EstimateLine {
            group: Group::Besides,
            what: "Added on parts that were quoted for".to_owned(),
            who: "own shop".to_owned(),
            how: format!("{told} per cent of {of}"),
            charge: Some(Charge::Parts),
            price: Price::Known(amount),
        })
    }

    /// The once-only parts of every joint that is opened, and what pays them.
    fn parts(&self, reach: &Reach, whole: Option<&Fact<QuoteReceived>>) -> Vec<JointParts> {
        let stated = work::stated(self.judged.state, self.layout, self.judged.knowledge);
        let told = |name: &str| stated.get(name).map(String::as_str);
        let mut out: Vec<JointParts> = Vec::new();
        for joint in self.judged.knowledge.joints.iter().filter(|j| reach.joints.contains(&j.id)) {
            let once = joint.value.parts.iter().filter(|p| p.reuse == Reuse::Never);
            for part in once.filter(|p| !AppliesTo::spoken_against(&p.applies, told)) {
                let by_name = self.option.items.iter().find(|i| i.parts.contains(&part.id));
                let by_joint = || self.option.items.iter().find(|i| i.joints.contains(&joint.id));
                let quoted = self.quotes.iter().any(|q| q.need.as_ref() == Some(&part.id));
                let price = if whole.is_some() {
                    Price::In("the whole job, as far as the quote names them".to_owned())
                } else if let Some(item) = by_name.or_else(by_joint) {
                    Price::In(self.item_name(item))
                } else if quoted {
                    Price::In("its quote".to_owned())
                } else if self.in_block(&joint.id) {
                    Price::In("the work that depends on what is found".to_owned())
                } else {
                    Price::Open("no usual price and no quote: ask for one".to_owned())
                };
                match out.iter_mut().find(|o| o.joint == joint.id && o.price == price) {
                    Some(there) => there.parts.push(part.id.clone()),
                    None => out.push(JointParts { joint: joint.id.clone(), parts: vec![part.id.clone()], price }),
                }
            }
        }
        out
    }

    /// Whether a block or a part priced one by one opens a joint, so that its price holds the parts.
    fn in_block(&self, joint: &str) -> bool {
        let opens = |list: &[String]| list.iter().any(|j| j == joint);
        self.option.costs.iter().any(|c| opens(&c.opens) || c.opens_in.values().any(|l| opens(l)))
            || self.option.per_part.iter().any(|p| opens(&p.opens))
    }
}

fn lower(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}

/// Who does an operation.
fn who(operation: &Operation) -> &'static str {
    match operation.done_by {
        DoneBy::Shop => "own shop",
        DoneBy::Machine => "machine shop",
        DoneBy::Either => "own or machine shop",
    }
}
