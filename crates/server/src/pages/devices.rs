//! Who: the owner, at the computer of the bench. Moment: a new phone, a lost phone, a phone that does not get in.
//! Why so: what waits to be compared stands first, then who gets in now, then a new one; how to trust the bench is below.

use maud::{Markup, PreEscaped, html};

use super::{shell, shell_again};
use crate::forms::Typed;
use crate::lan::{DeviceLine, LanStanding, Offered, Role, Waiting};
use crate::words::{sentence, when};

fn for_what(role: Role) -> &'static str {
    match role {
        Role::Technician => "Technician: the engine, no money and no yes of a customer",
        Role::Counter => "Counter: every job, money and customers",
        Role::Owner => "Owner: everything, this list too",
    }
}

/// The list.
pub(crate) fn list(
    who: &str,
    standing: Option<&LanStanding>,
    devices: &[DeviceLine],
    waiting: &[Waiting],
    typed: &Typed,
    wrong: Option<&str>,
    here: bool,
) -> Markup {
    let on = standing.filter(|s| s.settings.on);
    let body = html! {
        main id="main" {
            h1 { "Phones and tablets" }
            @for one in waiting {
                section.sheet.next {
                    h2 { (one.name) " waits to be let in" }
                    @if here {
                        p {
                            a.button href=(format!("/devices/pairing/{}", one.id)) { "Compare the number" }
                        }
                    } @else {
                        p { "The number is compared at the computer of the bench." }
                    }
                }
            }
            @if on.is_none() {
                section.sheet {
                    h2 { "The bench is on this computer only" }
                    p { "No phone reaches it until its owner turns the network on, at the command line of this computer:" }
                    p.code { "witnessmark lan on --name bench" }
                    p.quiet { "Then start the bench again." }
                }
            }
            section.sheet {
                h2 { "Paired" }
                @if devices.is_empty() {
                    p.quiet { "No device is paired." }
                }
                ul.rows.devices {
                    @for d in devices { (line(d)) }
                }
            }
            @if let (Some(standing), true) = (on, here) {
                (new_device(standing, typed, wrong))
            }
            @if let Some(standing) = on { (how_reached(standing)) }
        }
    };
    shell("Phones and tablets", who, &body)
}

fn line(d: &DeviceLine) -> Markup {
    html! {
        li {
            div.device {
                div {
                    b { (d.name) }
                    " · "
                    (d.person)
                    " · "
                    (d.role.word())
                    br;
                    span.quiet {
                        @match d.seen {
                            Some(seen) => { "last seen " time { (when(seen)) } }
                            None => { "not seen yet" }
                        }
                        @if d.locked { ", asks for its PIN" }
                        @if d.wrong_pins > 0 {
                            ", "
                            (crate::words::count(usize::try_from(d.wrong_pins).unwrap_or(usize::MAX), "wrong PIN", "wrong PINs"))
                        }
                    }
                }
                details.fold {
                    summary { "Remove" }
                    form method="post" action=(format!("/devices/remove/{}", d.id)) {
                        p { "It gets in no more, at once, and clears what it keeps when it next calls." }
                        button type="submit" { "Remove " (d.name) }
                    }
                }
            }
        }
    }
}

fn new_device(standing: &LanStanding, typed: &Typed, wrong: Option<&str>) -> Markup {
    let of = |name: &str| typed.get(name).map_or("", String::as_str);
    let surest = standing.surest();
    let reach = if of("reach").is_empty() { surest.as_str() } else { of("reach") };
    html! {
        section.sheet id="pair" {
            h2 { "Pair a device" }
            @if let Some(why) = wrong {
                div.wrong role="alert" { (sentence(why)) "." }
            }
            form method="post" action="/devices/pair" {
                div.field {
                    label for="device-name" { "What it is called" }
                    input
                        type="text"
                        id="device-name"
                        name="name"
                        value=(of("name"))
                        maxlength="40"
                        placeholder="tablet at the bench"
                        required;
                }
                div.field {
                    label for="device-person" { "Who works with it, and signs" }
                    input type="text" id="device-person" name="person" value=(of("person")) maxlength="40" required;
                }
                fieldset {
                    legend { "What it is for" }
                    @for role in Role::ALL {
                        label.tick {
                            input
                                type="radio"
                                name="role"
                                value=(role.word())
                                checked[of("role") == role.word()]
                                required;
                            span { (for_what(role)) }
                        }
                    }
                }
                div.field {
                    label for="device-reach" { "How it reaches this computer" }
                    select id="device-reach" name="reach" {
                        @for way in standing.reached_at() {
                            option value=(way) selected[way == reach] { (way) }
                        }
                    }
                    p.quiet {
                        "The address works at once. A name goes on working when the address changes, where the network of the shop knows it."
                    }
                }
                button type="submit" { "Show the picture" }
            }
        }
    }
}

/// The fingerprint as a person compares it: eight pairs a line.
fn fingerprint(standing: &LanStanding) -> Markup {
    let pairs: Vec<&str> = standing.fingerprint.split(':').collect();
    html! {
        p.code.fingerprint {
            @for line in pairs.chunks(8) {
                span { (line.join(":")) }
                " "
            }
        }
    }
}

/// How the bench is reached and known.
fn how_reached(standing: &LanStanding) -> Markup {
    html! {
        section.sheet {
            h2 { "How the bench is known" }
            dl.lists {
                dt { "Reached at" }
                dd {
                    @for way in standing.reached_at() {
                        span.code { (format!("https://{way}:{}/", standing.settings.port)) }
                        br;
                    }
                }
                @if let Some(port) = standing.settings.pairing_port {
                    dt { "How to pair" }
                    dd {
                        span.code { (format!("http://{}:{port}/", standing.surest())) }
                    }
                }
                dt { "Fingerprint of its authority (SHA-256)" }
                dd { (fingerprint(standing)) }
                dt { "Certificate" }
                dd {
                    "holds until "
                    time { (when(standing.certificate_until)) }
                    ", made anew by itself thirty days before"
                }
            }
            p {
                a.button.plain href="/devices/authority.crt" { "Certificate of the authority" }
            }
        }
    }
}

/// The picture of an offer, with what a device does first.
pub(crate) fn offer(who: &str, offered: &Offered, standing: &LanStanding, picture: &str) -> Markup {
    let body = html! {
        main id="main" {
            p.back {
                a href="/devices" { "Phones and tablets" }
            }
            h1 { "Pair a device" }
            div.offer {
                section.sheet {
                    h2 { "Point its camera here" }
                    figure.picture.whole { (PreEscaped(picture)) }
                    p {
                        "or open "
                        span.code { ({ offered.url.split('#').next().unwrap_or_default() }) }
                        " and type"
                    }
                    p.match { (offered.code) }
                    p.quiet {
                        "Once, and until "
                        time { (when(offered.until)) }
                        ". This page goes on by itself."
                    }
                }
                section.sheet {
                    h2 { "Before that, once for each device" }
                    @if let Some(port) = standing.settings.pairing_port {
                        p {
                            "It learns to trust this bench at "
                            span.code { (format!("http://{}:{port}/", standing.surest())) }
                            ": fetch the certificate there, install it, and compare the fingerprint with this one:"
                        }
                    } @else {
                        p { "It learns to trust this bench by its certificate; compare the fingerprint with this one:" }
                    }
                    (fingerprint(standing))
                    form method="post" action=(format!("/devices/pairing/{}", offered.id)) {
                        button.plain type="submit" name="numbers" value="differ" { "Give up this offer" }
                    }
                }
            }
        }
    };
    shell_again("Pair a device", who, &body, Some(4))
}

/// The number of a device that waits.
pub(crate) fn compare(who: &str, waiting: &Waiting) -> Markup {
    let action = format!("/devices/pairing/{}", waiting.id);
    let body = html! {
        main id="main" {
            p.back {
                a href="/devices" { "Phones and tablets" }
            }
            section.sheet.next {
                h1 { "Does the device show this number?" }
                p.match { (waiting.number) }
                p {
                    (waiting.name) ", for " (waiting.person) ", as " b { (waiting.role.word()) } ". Look at its screen: all four digits."
                }
                @if waiting.another_tried {
                    p.wrong role="alert" {
                        b { "A second device tried the same code. " }
                        "If the number is not on the device in your hand, say so."
                    }
                }
                form.go method="post" action=(action) {
                    button type="submit" name="numbers" value="match" { "The numbers match" }
                    button.plain type="submit" name="numbers" value="differ" { "They do not match" }
                }
            }
        }
    };
    shell("Compare the number", who, &body)
}

/// A device that was let in.
pub(crate) fn paired(who: &str, name: &str) -> Markup {
    let body = html! {
        main id="main" {
            section.sheet {
                h1 { (name) " is paired" }
                p { "It opens the bench by itself within a few seconds." }
                p {
                    a.button href="/devices" { "Phones and tablets" }
                }
            }
        }
    };
    shell("Paired", who, &body)
}

/// An offer that cannot be shown any more.
pub(crate) fn over(who: &str) -> Markup {
    let body = html! {
        main id="main" {
            section.sheet {
                h1 { "This offer is over" }
                p { "It was used, given up, ten minutes old, or made before the bench was started again." }
                p {
                    a.button href="/devices#pair" { "Make a new one" }
                }
            }
        }
    };
    shell("This offer is over", who, &body)
}
