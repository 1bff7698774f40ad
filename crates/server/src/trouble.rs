//! What can go wrong at this door: one type, shown as a page or as a problem document (RFC 9457).

use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use maud::html;
use serde::Serialize;
use store::{AppendError, AttachmentError, FailureClass, ReadError};

use crate::pages::shell;

/// What is wrong with one field.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub(crate) struct FieldTrouble {
    /// The field.
    pub(crate) field: String,
    /// What is wrong, and the next move.
    pub(crate) message: String,
}

impl FieldTrouble {
    pub(crate) fn new(field: impl Into<String>, message: impl ToString) -> Self {
        Self { field: field.into(), message: message.to_string() }
    }
}

/// Why a request was not done.
#[derive(Debug, Clone)]
pub(crate) struct Trouble {
    /// The status.
    pub(crate) status: StatusCode,
    /// What could not be done.
    pub(crate) title: String,
    /// Why, with the next move.
    pub(crate) detail: String,
    /// Field by field.
    pub(crate) errors: Vec<FieldTrouble>,
}

impl Trouble {
    pub(crate) fn new(status: StatusCode, title: impl Into<String>, detail: impl ToString) -> Self {
        Self { status, title: title.into(), detail: detail.to_string(), errors: Vec::new() }
    }

    /// Something asked for is not there.
    pub(crate) fn not_found(title: impl Into<String>, detail: impl ToString) -> Self {
        Self::new(StatusCode::NOT_FOUND, title, detail)
    }

    /// Fields that do not fit.
    pub(crate) fn fields(title: impl Into<String>, errors: Vec<FieldTrouble>) -> Self {
        let detail = errors.first().map_or_else(String::new, |e| e.message.clone());
        Self { status: StatusCode::UNPROCESSABLE_ENTITY, title: title.into(), detail, errors }
    }
}

/// The status of a failure of the store. Its message speaks of the record and the folder, never of the database.
fn status_of(class: FailureClass) -> StatusCode {
    match class {
        FailureClass::NotFound => StatusCode::NOT_FOUND,
        FailureClass::Refused => StatusCode::UNPROCESSABLE_ENTITY,
        FailureClass::Conflict => StatusCode::CONFLICT,
        FailureClass::Storage => StatusCode::SERVICE_UNAVAILABLE,
    }
}

impl From<ReadError> for Trouble {
    fn from(error: ReadError) -> Self {
        Self::new(status_of(error.class()), "the record cannot be read", error)
    }
}

impl From<AppendError> for Trouble {
    fn from(error: AppendError) -> Self {
        if let AppendError::Conflict { id, .. } = &error {
            return Self::fields(
                "this was sent before with other content",
                vec![FieldTrouble::new(
                    "entry",
                    format!(
                        "entry {id} is kept already with other content, and nothing was changed; send the new one \
                         under an id of its own"
                    ),
                )],
            );
        }
        let title = if matches!(error, AppendError::InDoubt { .. }) {
            "it is not known whether it was kept"
        } else {
            "nothing was kept"
        };
        Self::new(status_of(error.class()), title, error)
    }
}

impl From<AttachmentError> for Trouble {
    fn from(error: AttachmentError) -> Self {
        Self::new(status_of(error.class()), "the picture cannot be kept or shown", error)
    }
}

/// A trouble as a page.
#[derive(Debug)]
pub(crate) struct OnPage(pub(crate) Trouble);

impl<T: Into<Trouble>> From<T> for OnPage {
    fn from(trouble: T) -> Self {
        Self(trouble.into())
    }
}

/// A page that tells of a trouble, which goes along with it for an asker that reads no pages.
pub(crate) fn with_trouble(page: impl IntoResponse, trouble: Trouble) -> Response {
    let mut response = (trouble.status, page).into_response();
    response.extensions_mut().insert(trouble);
    response
}

impl IntoResponse for OnPage {
    fn into_response(self) -> Response {
        let along = self.0.clone();
        let Trouble { status: _, title, detail, errors } = self.0;
        let body = html! {
            main id="main" {
            section.sheet {
                h1 { (crate::words::sentence(&title)) }
                p { (crate::words::sentence(&detail)) "." }
                @if errors.len() > 1 {
                    ul {
                        @for e in &errors {
                            li {
                                b { (crate::words::sentence(&crate::words::words(&e.field))) }
                                ": "
                                (e.message)
                            }
                        }
                    }
                }
                p {
                    a.button href="/" { "All jobs" }
                }
            }
            }
        };
        with_trouble(shell(&title, "", &body), along)
    }
}

/// A trouble as a problem document.
#[derive(Debug)]
pub(crate) struct OnWire(pub(crate) Trouble);

impl<T: Into<Trouble>> From<T> for OnWire {
    fn from(trouble: T) -> Self {
        Self(trouble.into())
    }
}

impl IntoResponse for OnWire {
    fn into_response(self) -> Response {
        let Trouble { status, title, detail, errors } = self.0;
        let problem = serde_json::json!({
            "type": "about:blank", "title": title, "status": status.as_u16(), "detail": detail, "errors": errors,
        });
        (status, [(header::CONTENT_TYPE, "application/problem+json")], problem.to_string()).into_response()
    }
}
