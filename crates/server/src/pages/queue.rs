//! Who: whoever worked out of reach of the shop. Moment: any.
//! Why so: what was refused stands first, because only a person can help it; below it what waits, in the sequence it was
//! written down, and then where everything else is. The rows are filled on the phone: the shop does not know them.

use maud::{Markup, html};

/// The page; its lists are filled by the phone that shows it.
pub(crate) fn page(who: &str, whereabouts: &Markup) -> Markup {
    let body = html! {
        main id="main" data-queue="" {
            h1 { "On this phone" }
            (whereabouts)
            noscript {
                p { "Without script nothing stays on this phone: every form goes straight to the shop." }
            }
            p data-queue-empty="" hidden { "Nothing waits on this phone. Everything you entered is in the shop." }
            p.wrong data-queue-held="" role="status" hidden {}
            section.sheet data-queue-refused="" hidden {
                h2 { "The shop did not take these" }
                p { "They are kept nowhere else. Put each right, or throw it away." }
                ul.entries data-rows="" {}
            }
            section.sheet data-queue-waiting="" hidden {
                h2 { "Waiting for the shop" }
                p {
                    "Sent by themselves as soon as the shop answers, each exactly once. Keep this phone's browser data until then."
                }
                p {
                    button type="button" data-send-now="" { "Send now" }
                }
                ul.entries data-rows="" {}
            }
            p {
                a.button href="/" { "All jobs" }
            }
        }
    };
    super::shell("On this phone", who, &body)
}
