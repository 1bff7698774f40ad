//! Closed lists of words that entries use; each is stored as one kebab-case word.

use serde::{Deserialize, Serialize};

/// Writes an enum whose cases are stored as one word each.
macro_rules! words {
    ($(#[$outer:meta])* $name:ident { $($(#[$inner:meta])* $case:ident = $word:literal),+ $(,)? }) => {
        $(#[$outer])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
        pub enum $name { $($(#[$inner])* #[serde(rename = $word)] $case),+ }

        impl $name {
            /// Every case, in the order of the list.
            pub const ALL: &'static [$name] = &[$($name::$case),+];

            /// Gives the word this case is stored as.
            #[must_use]
            pub const fn word(self) -> &'static str {
                match self { $($name::$case => $word),+ }
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result { f.write_str(self.word()) }
        }
    };
}
pub(crate) use words;

words! {
    /// One of the eight moments a job runs through; moments may overlap and go back.
    Moment {
        /// Complaint, engine, history.
        Hear = "hear",
        /// Before taking apart.
        Test = "test",
        /// Teardown and measurement.
        Strip = "strip",
        /// Repair options.
        Choose = "choose",
        /// Quotes, parts, machine work, arrivals.
        Order = "order",
        /// Reassembly with hold points.
        Build = "build",
        /// The same tests again.
        Prove = "prove",
        /// Papers, warranty, recheck dates.
        HandBack = "hand-back",
    }
}
words! {
    /// When in the life of the job a reading was taken.
    Phase {
        /// As the engine came or as a part was found.
        AsFound = "as-found",
        /// On a part that arrived.
        Arrival = "arrival",
        /// After work on it.
        AsLeft = "as-left",
        /// At a dated recheck or a comeback.
        Recheck = "recheck",
    }
}
words! {
    /// What an engine figure of the maker bounds.
    Bound {
        /// Not more than this.
        Max = "max",
        /// Not less than this.
        Min = "min",
        /// The value aimed at.
        Nominal = "nominal",
        /// From `text` to `text_high`.
        Range = "range",
    }
}
words! {
    /// What an engine figure of the maker is for.
    FigureFor {
        /// A part that goes on running.
        Service = "service",
        /// A new or newly machined part.
        New = "new",
        /// A setting made when assembling.
        Assembly = "assembly",
    }
}
words! {
    /// Which readings by a gauge are good after all.
    GoodReadings {
        /// All of them: it was good all the time.
        All = "all",
        /// Those taken from now on: it was put right.
        Later = "later",
    }
}
words! {
    /// The answer to a question about what is not the engine.
    OutsideAnswer {
        /// Looked for and not there.
        Excluded = "excluded",
        /// Looked for and there.
        Found = "found",
        /// Nobody knows.
        Unknown = "unknown",
    }
}
words! {
    /// How far a solvent lifts a residue.
    Dissolves {
        /// At once.
        Yes = "yes",
        /// Some of it.
        Partly = "partly",
        /// Not at all.
        No = "no",
    }
}
words! {
    /// What an approval covers.
    Covers {
        /// Finding out without opening.
        Diagnosis = "diagnosis",
        /// Taking apart and measuring.
        Teardown = "teardown",
        /// The chosen repair.
        Repair = "repair",
        /// Work beyond what was approved before.
        FurtherWork = "further-work",
    }
}
words! {
    /// How words were passed.
    Channel {
        /// Face to face.
        InPerson = "in-person",
        /// By telephone.
        Telephone = "telephone",
        /// By written message.
        Message = "message",
        /// On paper.
        Paper = "paper",
        /// On the customer page.
        Page = "page",
    }
}
words! {
    /// What a look at an arrived part gave.
    ArrivalResult {
        /// As it should be.
        Good = "good",
        /// Not as it should be.
        Bad = "bad",
        /// Nobody looked.
        NotLooked = "not-looked",
    }
}
words! {
    /// What became of one line of a machine order.
    MachineResult {
        /// Done as asked.
        Done = "done",
        /// Done otherwise than asked; the note says how.
        Otherwise = "otherwise",
        /// Not done; the note says why.
        NotDone = "not-done",
    }
}
words! {
    /// Whether a bolt was new when tightened.
    BoltAge {
        /// Never tightened before.
        New = "new",
        /// Tightened before.
        Used = "used",
    }
}
words! {
    /// How the engine was run.
    RunKind {
        /// The first start after a repair.
        FirstStart = "first-start",
        /// Standing at idle.
        Idle = "idle",
        /// A full warm-up and cool-down.
        HeatCycle = "heat-cycle",
        /// On the road.
        RoadTest = "road-test",
    }
}
words! {
    /// Why a part went back.
    ReturnKind {
        /// An old part against its deposit.
        Core = "core",
        /// A part that does not fit.
        Wrong = "wrong",
        /// A part that failed under its warranty.
        Warranty = "warranty",
        /// A part that came damaged or failed a look; from version 2 of what says that a part went back.
        Damaged = "damaged",
    }
}
words! {
    /// What became of a bag that was asked back.
    BagEnd {
        /// Everything in it is back in.
        BackIn = "back-in",
        /// Something is missing or damaged.
        SomethingWrong = "something-wrong",
        /// It is not used again: new parts went in.
        NotUsed = "not-used",
    }
}
words! {
    /// How a job ended.
    Ending {
        /// The engine went back to its owner, mended.
        HandedBack = "handed-back",
        /// It went back as it was, at the owner's wish.
        TakenAway = "taken-away",
        /// It was scrapped.
        Scrapped = "scrapped",
    }
}
words! {
    /// Who bears a comeback.
    Bearer {
        /// The shop.
        Shop = "shop",
        /// The owner.
        Customer = "customer",
        /// A supplier or a machine shop.
        Supplier = "supplier",
        /// Several, as the words say.
        Shared = "shared",
    }
}
words! {
    /// A paper that leaves the shop.
    Paper {
        /// The customer's page.
        CustomerPage = "customer-page",
        /// The price of opening the engine; from version 2 of what says that a paper left.
        TeardownEstimate = "teardown-estimate",
        /// The written estimate.
        Estimate = "estimate",
        /// The machine order.
        MachineOrder = "machine-order",
        /// The parts list.
        PartsList = "parts-list",
        /// The build sheet.
        BuildSheet = "build-sheet",
        /// The proof.
        Proof = "proof",
        /// The hand-back page.
        HandBack = "hand-back",
        /// The blank twin of the screens; this and the next from version 3 of what says that a paper left.
        BenchSheet = "bench-sheet",
        /// The orders for parts.
        PurchaseOrder = "purchase-order",
        /// Labels to cut out.
        Labels = "labels",
        /// The invoice.
        Invoice = "invoice",
        /// What was found and is believed, for the next technician; from version 4 of what says that a paper left.
        Findings = "findings",
    }
}
