//! The shop itself: who it is, how it reckons, and the words that its law wants on a paper.
//!
//! None is compiled in. A shop writes `shop/shop.toml` into its own knowledge folder; `witnessmark shop write` lays one
//! ready. Its figures are those of the shop and of its law, so they carry no source of ours.

use quantity::tax::part_of_one;
use quantity::{Charge, Money, MoneyReply, Prices, Rounding, TaxBy, parse_money};
use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize};

use crate::load::{Complaint, Located};

/// A shop.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Shop {
    /// Its name.
    pub name: String,
    /// Where it stands, line by line.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub address: Vec<String>,
    /// How to reach it, line by line.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reach: Vec<String>,
    /// Numbers that the law wants on its papers: of tax, register, licence; with their names.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub registration: Vec<String>,
    /// The price of a billed hour with which jobs are opened.
    #[serde(default, skip_serializing_if = "Option::is_none", deserialize_with = "amount")]
    pub labour_rate: Option<Money>,
    /// What the shop adds on parts, in per cent, with which jobs are opened.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub parts_markup_percent: Option<String>,
    /// How tax is reckoned in jobs that are opened.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tax: Option<ShopTax>,
    /// How many days an estimate holds where no quote ends sooner.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub estimate_days: Option<u16>,
    /// How an invoice is paid, in a sentence.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub payment: Option<String>,
    /// Words that local law or the shop wants, by paper.
    #[serde(default, skip_serializing_if = "ShopWords::is_empty")]
    pub words: ShopWords,
}

/// An amount as people write it.
fn amount<'de, D: Deserializer<'de>>(from: D) -> Result<Option<Money>, D::Error> {
    let text = String::deserialize(from)?;
    match parse_money(&text, None) {
        Ok(MoneyReply::Value(money)) => Ok(Some(money)),
        Ok(MoneyReply::Question { ask, .. }) => Err(D::Error::custom(format!("{text:?} has two readings: {ask}"))),
        Err(error) => Err(D::Error::custom(error)),
    }
}

/// The tax of a shop.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ShopTax {
    /// What it is called there.
    pub name: String,
    /// Per cent, as written.
    pub percent: String,
    /// Whether amounts in jobs are without it or hold it.
    pub prices: Prices,
    /// Where it is rounded.
    #[serde(default)]
    pub by: TaxBy,
    /// How it is rounded.
    #[serde(default)]
    pub rounding: Rounding,
    /// What is taxed; none named: everything.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub on: Vec<Charge>,
}

/// Sentences for the foot of papers.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ShopWords {
    /// On estimates, of teardown and of repair.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub estimate: Vec<String>,
    /// On orders for parts and machine work.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub order: Vec<String>,
    /// On invoices.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub invoice: Vec<String>,
    /// On the hand-back paper: warranty, liability.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub hand_back: Vec<String>,
}

impl ShopWords {
    fn is_empty(&self) -> bool {
        self.estimate.is_empty() && self.order.is_empty() && self.invoice.is_empty() && self.hand_back.is_empty()
    }
}

/// A shop file to begin with. Whoever takes it puts in what holds for the shop.
pub const SHOP_TO_FILL_IN: &str = r##"# The shop itself. Lines that begin with # say nothing; take the sign away where a line is to count.
# A job takes rate and tax over when it is opened and keeps them; a later change here holds for later jobs.

[[shop]]
name = "Name of the shop"
address = ["Street and number", "Place"]
reach = ["telephone"]
# registration = ["Tax number 000"]
# labour_rate = "EUR 80.00"
# parts_markup_percent = "15"
# estimate_days = 30
# payment = "Within 14 days of the date of issue."

# What is taxed, at which rate and how it is rounded is local law: ask whoever keeps the books.
# [shop.tax]
# name = "VAT"
# percent = "20"
# prices = "without-tax"                     # amounts in jobs: without-tax or with-tax
# by = "total"                               # rounded on the total or on each line: total or line
# rounding = "half-up"                       # half-up, half-even or down
# on = ["labour", "parts", "sublet", "other"] # leave this line out where everything is taxed

# [shop.words]
# estimate = ["A sentence that local law wants on an estimate."]
# order = []
# invoice = []
# hand_back = []
"##;

/// What is wrong with shop files beyond their form.
pub(crate) fn complaints(shops: &[Located<Shop>]) -> Vec<Complaint> {
    let mut out = Vec::new();
    if let Some(second) = shops.get(1) {
        out.push(second.complaint(
            "shop",
            "is a second shop, expected one",
            "give each shop its own folder of knowledge, and name it with --knowledge",
        ));
    }
    for shop in shops {
        if shop.name.trim().is_empty() {
            out.push(shop.complaint("name", "is empty, expected the name of the shop", "type the name"));
        }
        let percents = [
            ("tax.percent", shop.tax.as_ref().map(|tax| &tax.percent)),
            ("parts_markup_percent", shop.parts_markup_percent.as_ref()),
        ];
        for (field, percent) in percents {
            if let Some(percent) = percent.filter(|text| part_of_one(text).is_none()) {
                out.push(shop.complaint(
                    field,
                    format!("{percent:?} is no number of per cent from 0 to 1000"),
                    "write it as \"19\" or \"8.25\"",
                ));
            }
        }
    }
    out
}
