//! What the price of a choice is made of, line by line, in labour units.

use anatomy::{EngineLayout, Scope};
use knowledge::workshop::Span;
use knowledge::{Knowledge, Remedy};

use super::{BlockHere, OptionHere, by_head, counts, grown};

/// The price of a choice taken apart; what the lines do not hold depends on what is found.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Made {
    /// Per item of the option: what it comes to on this engine.
    pub items: Vec<Span>,
    /// How many heads, or banks of them, the items for each head count.
    pub heads: usize,
    /// The option that the other heads get, with what each of its items for a head comes to.
    pub beside: Option<(String, Vec<Span>)>,
    /// Stages that are still to be opened whatever is found: stage and labour units.
    pub opening: Vec<(String, f64)>,
    /// What takes the named cause away and stands in no item.
    pub remedies: Vec<Remedy>,
    /// Per block of the engine: the price by class, closing up included.
    pub blocks: Vec<Vec<Span>>,
}

fn of(n: usize) -> f64 {
    u32::try_from(n).map_or(0.0, f64::from)
}

impl OptionHere<'_> {
    /// Takes the price apart.
    #[must_use]
    pub fn made(&self, blocks: &[BlockHere], layout: &EngineLayout, knowledge: &Knowledge) -> Made {
        let all = layout.positions(Scope::Bank).len();
        let here = blocks.iter().enumerate().filter(|(_, b)| b.position.scope() == Scope::Bank);
        let heads = match &self.opens {
            Some(opened) if by_head(self.option) => here.filter(|(i, _)| opened.contains(i)).count(),
            Some(_) | None => all,
        };
        let growth = grown(self.option.fixed_growth.as_ref(), &counts(layout, None));
        let scaled = |item: &knowledge::workshop::Item| item.cost.times(if item.per_head { of(heads) } else { growth });
        let others = of(all.saturating_sub(heads));
        let beside = self.beside.map(|b| {
            let spans = b.items.iter().map(|i| if i.per_head { i.cost.times(others) } else { Span::ZERO });
            (b.id.clone(), spans.collect())
        });
        let opening = knowledge
            .stages
            .iter()
            .zip(&self.stage_cost)
            .enumerate()
            .filter(|(i, (_, cost))| self.stages >> i & 1 == 1 && **cost > 0.0)
            .map(|(_, (stage, cost))| (stage.id.clone(), *cost))
            .collect();
        let quoted = self.quoted.is_some();
        Made {
            items: if quoted { Vec::new() } else { self.option.items.iter().map(scaled).collect() },
            heads,
            beside: beside.filter(|_| !quoted),
            remedies: if quoted { Vec::new() } else { self.remedies.iter().map(|r| (*r).clone()).collect() },
            opening: if quoted { Vec::new() } else { opening },
            blocks: self.blocks.iter().map(|b| b.price.clone()).collect(),
        }
    }
}
