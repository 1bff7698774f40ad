//! Who: whoever holds a phone or tablet that is to reach the bench. Moment: before any, and after a break.
//! Why so: one thing a page, large digits, and each page says what comes next and where to go when it does not.

use maud::{Markup, html};

use super::shell;

/// The page of a device that nobody knows, or that was removed.
pub(crate) fn unpaired(removed: bool) -> Markup {
    let title = if removed { "This device was removed" } else { "This device is not paired" };
    let body = html! {
        main id="main" {
            section.sheet {
                h1 { (title) }
                @if removed {
                    p {
                        "It shows nothing of the shop any more, and what it kept is cleared. To use it again it is paired anew."
                    }
                }
                ol {
                    li { "At the computer of the bench, open " b { "Phones and tablets" } " and name this device there." }
                    li { "Point the camera of this device at the picture that appears, or type its code here." }
                }
                p {
                    a.button href="/pair" { "Type the code" }
                }
            }
        }
    };
    shell(title, "", &body)
}

/// The page without encryption.
pub(crate) fn how(secure: &str) -> Markup {
    let body = html! {
        main id="main" {
            section.sheet {
                h1 { "Pair this phone or tablet" }
                p {
                    b { "This page is not encrypted, so nothing is entered here. " }
                    "Opened this way, this phone cannot work without Wi-Fi either."
                }
            }
            section.sheet {
                h2 { "1. Trust the bench, once" }
                p { "The bench of this shop has an authority of its own. It can speak for this one computer and for nothing else." }
                p {
                    a.button href="/authority.crt" { "Fetch its certificate" }
                }
                p {
                    "The device puts it down, or asks where to. Then, in the settings of the device, look for "
                    b { "certificates" }
                    " (often under security or privacy, or as a profile that was loaded), install it as a "
                    b { "CA certificate" }
                    ", and where the device has a list of authorities to trust fully, switch it on there."
                }
                p {
                    b { "Compare before you switch it on: " }
                    "the device shows a SHA-256 fingerprint, and the same one stands on the screen of the bench under "
                    b { "Phones and tablets" }
                    ". Where they differ, stop, and tell the owner."
                }
            }
            section.sheet {
                h2 { "2. Pair" }
                p { "Point the camera at the picture on the screen of the bench; or go on here and type the code below it." }
                p {
                    a.button href=(secure) { "Go on, encrypted" }
                }
                p.quiet { "If the browser warns, step 1 is not done yet. Do not go past the warning." }
            }
        }
    };
    shell("Pair this phone or tablet", "", &body)
}

/// The form of a device that is to be paired.
pub(crate) fn form(secret: &str, code: &str, wrong: Option<&str>) -> Markup {
    let body = html! {
        main id="main" {
            h1 { "Pair this device" }
            @if let Some(why) = wrong {
                div.wrong role="alert" {
                    b { "Not paired. " }
                    (crate::words::sentence(why))
                    "."
                }
            }
            form.sheet method="post" action="/pair" autocomplete="off" data-pair="" {
                input type="hidden" name="secret" value=(secret);
                div.field data-code="" hidden[!secret.is_empty()] {
                    label for="code" { "Code on the screen of the bench" }
                    input
                        .pin
                        type="text"
                        id="code"
                        name="code"
                        value=(code)
                        autocapitalize="characters"
                        spellcheck="false"
                        maxlength="20";
                }
                p.kept data-read="" hidden[secret.is_empty()] { "The picture was read; no code is needed." }
                (pin_field("pin", "Choose a PIN of six digits for this device"))
                (pin_field("again", "The same PIN once more"))
                p.quiet {
                    "It is asked for after half an hour without a touch. Not a birthday, not a row of keys, and not the one of the phone itself."
                }
                button type="submit" { "Pair" }
            }
            script type="module" src="/pair.js" {}
        }
    };
    shell("Pair this device", "", &body)
}

fn pin_field(name: &str, label: &str) -> Markup {
    html! {
        div.field {
            label for=(name) { (label) }
            input
                .pin
                type="password"
                id=(name)
                name=(name)
                inputmode="numeric"
                pattern="[0-9]{6}"
                maxlength="6"
                title="six digits"
                required;
        }
    }
}

/// What stands on the device while the owner compares.
pub(crate) fn waiting(number: &str) -> Markup {
    let body = html! {
        main id="main" {
            section.sheet {
                h1 { "Compare the number" }
                p.match { (number) }
                p {
                    "The same number must stand on the screen of the bench, under "
                    b { "Phones and tablets" }
                    ". There somebody says that they match, and this page goes on by itself."
                }
                p { "If another number stands there, say so there, and do not go on here." }
                p {
                    a.button.plain href="/pair/wait" { "Look again" }
                }
            }
        }
    };
    super::shell_again("Compare the number", "", &body, Some(3))
}

/// A device that was sent away, or that waited too long.
pub(crate) fn not_let_in() -> Markup {
    let body = html! {
        main id="main" {
            section.sheet {
                h1 { "This device was not let in" }
                p {
                    "The numbers were said not to match, or more than ten minutes went by. Ask for a new code at the bench, under "
                    b { "Phones and tablets" }
                    "."
                }
                p {
                    a.button href="/pair" { "Type a new code" }
                }
            }
        }
    };
    shell("This device was not let in", "", &body)
}

/// What the page that asks for a PIN knows.
#[derive(Debug, Clone, Copy)]
pub(crate) struct PinAsked<'p> {
    /// What the device is called.
    pub(crate) name: &'p str,
    /// Where it goes on.
    pub(crate) back: &'p str,
    /// What waits to be sent.
    pub(crate) held: Option<&'p str>,
    /// Why the last PIN was not taken.
    pub(crate) wrong: Option<&'p str>,
}

/// Asks for the PIN.
pub(crate) fn pin(asked: &PinAsked<'_>) -> Markup {
    let body = html! {
        main id="main" {
            h1 { "PIN of this device" }
            @if let Some(why) = asked.wrong {
                div.wrong role="alert" { (crate::words::sentence(why)) "." }
            }
            @if asked.held.is_some() {
                p.kept role="status" {
                    "What you sent is not lost: it waits here for ten minutes and is kept as soon as the PIN is typed."
                }
            }
            form.sheet method="post" action="/pin" autocomplete="off" {
                input type="hidden" name="back" value=(asked.back);
                @if let Some(held) = asked.held {
                    input type="hidden" name="held" value=(held);
                }
                (pin_field("pin", asked.name))
                button type="submit" { "Go on" }
            }
            p.quiet {
                "Forgotten? Have this device removed at the bench, under Phones and tablets, and pair it anew."
            }
        }
    };
    shell("PIN of this device", "", &body)
}
