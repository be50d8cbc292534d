//! The pages about people, as HTML.

use maud::{Markup, html};

use crate::desk::assets;
use crate::desk::pages::{Page, layout_with};
use crate::desk::sheet::Chrome;
use crate::desk::words;
use crate::ledger::{Key, Person, PersonNo};
use crate::model::{Action, Id, Reach, Role};

/// What somebody tried, to be shown again with what is wrong.
#[derive(Debug, Default)]
pub(super) struct Tried {
    pub(super) name: String,
    pub(super) problem: Option<String>,
}

/// One's own page.
#[derive(Debug)]
pub(super) struct AccountSheet {
    pub(super) name: String,
    pub(super) role: Role,
    pub(super) reach: Reach,
    /// False at a demonstration, where nobody has a password.
    pub(super) signed_in: bool,
    pub(super) keys: Vec<Key>,
    /// A key just made; it is shown this once.
    pub(super) new_key: Option<String>,
    pub(super) problem: Option<String>,
    /// What a key may be good for.
    pub(super) scopes: Vec<Action>,
}

/// Everybody.
#[derive(Debug)]
pub(super) struct PeopleSheet {
    pub(super) people: Vec<Person>,
    pub(super) me: Option<PersonNo>,
    /// Properties that somebody can be limited to.
    pub(super) properties: Vec<Id>,
    pub(super) problem: Option<String>,
}

fn page(chrome: &Chrome, title: &str, here: &str, main: &Markup) -> String {
    let page = Page { title, here, fragment: "", live: false };
    layout_with(chrome, &page, &[&assets::FORMS], main).into_string()
}

/// What is wrong, where a screen reader finds it at once.
fn problem(problem: Option<&String>) -> Markup {
    html! {
        @if let Some(problem) = problem {
            p class="problem" role="alert" { (words::capitalised(problem)) "." }
        }
    }
}

fn csrf(chrome: &Chrome) -> Markup {
    html! { @if let Some(who) = &chrome.who { input type="hidden" name="csrf" value=(who.csrf); } }
}

/// The first page of all: whoever can read the daemon's log becomes the owner.
pub(super) fn welcome(chrome: &Chrome, tried: &Tried) -> String {
    let main = html! {
        h1 { "Welcome" }
        p { "Nobody may come in yet. When the daemon started it printed a one-time code, to its terminal or its log; whoever has it becomes the owner and lets the others in." }
        (problem(tried.problem.as_ref()))
        form class="form" method="post" action="/welcome" {
            (field("code", "One-time code", &html! { input id="code" name="code" required autocomplete="one-time-code" autocapitalize="characters" spellcheck="false" placeholder="ABCD-EFGH-JKLM-NPQR"; }))
            (field("name", "Your name", &html! { input id="name" name="name" required maxlength="64" autocomplete="username" value=(tried.name); }))
            (new_password())
            p { button type="submit" { "Become the owner" } }
        }
    };
    page(chrome, "Welcome", "/welcome", &main)
}

/// The way in.
pub(super) fn sign_in(chrome: &Chrome, to: &str, tried: &Tried) -> String {
    let main = html! {
        h1 { "Sign in" }
        (problem(tried.problem.as_ref()))
        form class="form" method="post" action="/sign-in" {
            input type="hidden" name="to" value=(to);
            (field("name", "Name", &html! { input id="name" name="name" required maxlength="64" autocomplete="username" value=(tried.name); }))
            (field("password", "Password", &html! { input id="password" name="password" type="password" required autocomplete="current-password"; }))
            p { button type="submit" { "Sign in" } }
        }
        p class="hint" { "Lost your password? An owner can give you a new one; an owner gets one on the daemon's machine with " code { "basinward person password NAME" } "." }
    };
    page(chrome, "Sign in", "/sign-in", &main)
}

fn field(id: &str, label: &str, input: &Markup) -> Markup {
    html! { p class="field" { label for=(id) { (label) } (input) } }
}

fn new_password() -> Markup {
    html! {
        (field("password", "Password", &html! { input id="password" name="password" type="password" required minlength="12" maxlength="256" autocomplete="new-password" aria-describedby="password-hint"; }))
        p class="hint" id="password-hint" { "12 characters or more. Four words that do not belong together are good." }
        (field("again", "Password again", &html! { input id="again" name="again" type="password" required minlength="12" maxlength="256" autocomplete="new-password"; }))
    }
}

/// One's own page.
pub(super) fn account(chrome: &Chrome, sheet: &AccountSheet) -> String {
    let title = if sheet.signed_in { sheet.name.as_str() } else { "Account" };
    let main = html! {
        h1 { (title) }
        p { (words::capitalised(sheet.role.name())) ", " (reach_words(&sheet.reach)) "." }
        (problem(sheet.problem.as_ref()))
        @if sheet.signed_in {
            form method="post" action="/sign-out" { (csrf(chrome)) p { button type="submit" class="plain" { "Sign out" } } }
            section { h2 { "Password" }
                form class="form" method="post" action="/account/password" {
                    (csrf(chrome))
                    (field("current", "Present password", &html! { input id="current" name="current" type="password" required autocomplete="current-password"; }))
                    (new_password())
                    p { button type="submit" { "Change the password" } }
                    p class="hint" { "Other browsers of yours will be signed out." }
                }
            }
            section { h2 { "Keys for programs" } (keys(chrome, sheet)) }
        } @else {
            p { "Nobody needs to sign in on this machine as long as nobody has been named." }
        }
        @if sheet.role.may(Action::Govern) { p { a href="/people" { "Who may come in" } } }
    };
    page(chrome, title, "/account", &main)
}

fn keys(chrome: &Chrome, sheet: &AccountSheet) -> Markup {
    html! {
        p { "A program shows its key as " code { "Authorization: Bearer …" } "; the interface is described at " a href="/api/v1/openapi.json" { "/api/v1/openapi.json" } ". A calendar's address carries it as " code { "?key=…" } "." }
        @if let Some(key) = &sheet.new_key {
            p class="new-key" role="status" { "The new key, shown this once: " code { (key) } }
        }
        @if !sheet.keys.is_empty() {
            ul class="rows" {
                @for key in &sheet.keys {
                    li {
                        span { b { (key.label) } ", " (scope_words(&key.scopes)) }
                        form method="post" action={ "/account/keys/" (key.no) "/revoke" } {
                            (csrf(chrome))
                            button type="submit" class="plain" { "Revoke" span class="unseen" { " " (key.label) } }
                        }
                    }
                }
            }
        }
        form class="form" method="post" action="/account/keys" {
            (csrf(chrome))
            (field("label", "What is it for?", &html! { input id="label" name="label" required maxlength="80"; }))
            fieldset {
                legend { "It may" }
                @for scope in &sheet.scopes {
                    label class="choice" { input type="checkbox" name="scope" value=(scope.name()) checked[*scope == Action::See]; " " (action_words(*scope)) }
                }
            }
            p { button type="submit" { "Make a key" } }
        }
    }
}

fn action_words(action: Action) -> &'static str {
    match action {
        Action::See => "see what you see",
        Action::Attend => "attend to alerts and record work",
        Action::Plan => "change systems, tasks and visits",
        Action::Govern => "decide who may come in",
    }
}

fn scope_words(scopes: &[Action]) -> String {
    if scopes.is_empty() {
        return "opens the calendar only".to_owned();
    }
    let words: Vec<_> = scopes.iter().map(|scope| scope.name()).collect();
    format!("may {}", words.join(", "))
}

fn reach_words(reach: &Reach) -> String {
    match reach {
        Reach::Everywhere => "all properties".to_owned(),
        Reach::Properties(properties) => {
            properties.iter().map(|id| words::title(id.as_str())).collect::<Vec<_>>().join(", ")
        }
    }
}

/// Who may come in.
pub(super) fn people(chrome: &Chrome, sheet: &PeopleSheet) -> String {
    let main = html! {
        h1 { "Who may come in" }
        (problem(sheet.problem.as_ref()))
        @if sheet.people.is_empty() { p { "Nobody has been named. The first person must be an owner; from then on everybody signs in." } }
        @for person in &sheet.people { (one(chrome, sheet, person)) }
        section { h2 { "Let somebody in" }
            form class="form" method="post" action="/people" {
                (csrf(chrome))
                (field("name", "Name", &html! { input id="name" name="name" required maxlength="64" autocomplete="off"; }))
                (standing(sheet, "new", if sheet.people.is_empty() { Role::Owner } else { Role::Technician }, &Reach::Everywhere))
                (field("password", "First password", &html! { input id="password" name="password" type="password" required minlength="12" maxlength="256" autocomplete="new-password" aria-describedby="first-hint"; }))
                p class="hint" id="first-hint" { "12 characters or more; tell it to them, and let them change it on their own page." }
                p { button type="submit" { "Let in" } }
            }
        }
    };
    page(chrome, "Who may come in", "/people", &main)
}

fn one(chrome: &Chrome, sheet: &PeopleSheet, person: &Person) -> Markup {
    let here = format!("p{}", person.no.0);
    html! {
        section class="person" aria-labelledby=(here) {
            h2 id=(here) { (person.name) @if sheet.me == Some(person.no) { " (you)" } }
            p { (words::capitalised(person.role.name())) ", " (reach_words(&person.reach)) "." }
            details {
                summary { "Change" span class="unseen" { " " (person.name) } }
                form class="form" method="post" action={ "/people/" (person.no.0) } {
                    (csrf(chrome)) (standing(sheet, &here, person.role, &person.reach))
                    p { button type="submit" { "Save" } }
                }
                form class="form" method="post" action={ "/people/" (person.no.0) "/password" } {
                    (csrf(chrome))
                    (field(&format!("{here}-password"), "New password", &html! { input id={ (here) "-password" } name="password" type="password" required minlength="12" maxlength="256" autocomplete="new-password"; }))
                    p { button type="submit" { "Give a new password" } }
                }
                form method="post" action={ "/people/" (person.no.0) "/remove" } {
                    (csrf(chrome)) p { button type="submit" class="plain" { "Remove " (person.name) } }
                }
            }
        }
    }
}

/// Role and reach.
fn standing(sheet: &PeopleSheet, prefix: &str, role: Role, reach: &Reach) -> Markup {
    let limited = *reach != Reach::Everywhere;
    let mut properties = sheet.properties.clone();
    if let Reach::Properties(known) = reach {
        properties.extend(known.iter().filter(|id| !sheet.properties.contains(id)).cloned());
    }
    html! {
        (field(&format!("{prefix}-role"), "Role", &html! {
            select id={ (prefix) "-role" } name="role" {
                @for known in Role::ALL { option value=(known.name()) selected[known == role] { (role_words(known)) } }
            }
        }))
        fieldset {
            legend { "Sees" }
            label class="choice" { input type="radio" name="reach" value="all" checked[!limited]; " all properties" }
            @if !properties.is_empty() {
                label class="choice" { input type="radio" name="reach" value="some" checked[limited]; " only these:" }
                div class="choices" {
                    @for id in &properties {
                        label class="choice" { input type="checkbox" name="property" value=(id) checked[limited && reach.covers(id)]; " " (words::title(id.as_str())) }
                    }
                }
            }
        }
    }
}

fn role_words(role: Role) -> &'static str {
    match role {
        Role::Viewer => "Viewer: looks only",
        Role::Technician => "Technician: attends to alerts, records work",
        Role::Manager => "Manager: also changes systems, plans visits",
        Role::Owner => "Owner: also decides who may come in",
    }
}
