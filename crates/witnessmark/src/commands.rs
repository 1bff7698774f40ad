//! The commands, one module each (two where two of them do the same thing to a record).

pub(crate) mod amend;
pub(crate) mod backup;
pub(crate) mod bag;
pub(crate) mod calc;
pub(crate) mod carry;
pub(crate) mod demo;
pub(crate) mod enter;
pub(crate) mod gauges;
pub(crate) mod jobs;
pub(crate) mod knowledge;
pub(crate) mod lan;
pub(crate) mod learn;
pub(crate) mod life;
pub(crate) mod machine;
pub(crate) mod network;
pub(crate) mod new;
pub(crate) mod page;
pub(crate) mod papers;
pub(crate) mod quotes;
pub(crate) mod serve;
pub(crate) mod sheet;
pub(crate) mod shop;
pub(crate) mod simulate;
pub(crate) mod tell;
pub(crate) mod verify;
pub(crate) mod workup;
