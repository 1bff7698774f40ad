//! What a job takes over from the shop when it is opened.

use knowledge::Knowledge;
use logbook::MoneyTold;

/// The shop's rate, mark-up and tax as the first thing told of a job's money; nothing where the shop has told none. A job
/// keeps them: a later change of the shop's file holds for later jobs.
#[must_use]
pub fn rates(knowledge: &Knowledge) -> Option<MoneyTold> {
    let shop = knowledge.shop.as_ref()?;
    let tax = shop.tax.as_ref();
    let told = MoneyTold {
        labour_rate: shop.labour_rate,
        parts_markup_percent: shop.parts_markup_percent.clone(),
        tax_percent: tax.map(|tax| tax.percent.clone()),
        tax_name: tax.map(|tax| tax.name.clone()),
        prices: tax.map(|tax| tax.prices),
        tax_by: tax.map(|tax| tax.by),
        tax_rounding: tax.map(|tax| tax.rounding),
        taxed: tax.map(|tax| tax.on.clone()).unwrap_or_default(),
        ..MoneyTold::default()
    };
    (told != MoneyTold::default()).then_some(told)
}
