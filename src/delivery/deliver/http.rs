//! One request, one answer.

use crate::base::json::{Node, NotJson};
use crate::base::private::{Private, secret};
use crate::delivery::deliver::breaker::Breaker;
use crate::delivery::deliver::cause::Cause;
use crate::delivery::deliver::client::{self, Clients, NoClient};
use crate::delivery::deliver::learned::Learned;
use crate::delivery::deliver::smart::{NoToken, Token, Tokens, assertion};
use crate::delivery::deliver::unanswered::{Silence, Unanswered};
use crate::delivery::deliver::wire::{Request, Wire};
use crate::delivery::deliver::{SignIn, Target, traced};
use base64::Engine as _;
use base64::prelude::BASE64_STANDARD;
use reqwest::Method;
use reqwest::header::{
    ACCEPT, AUTHORIZATION, CACHE_CONTROL, CONTENT_TYPE, HeaderMap, HeaderName, HeaderValue,
    IF_MATCH, RETRY_AFTER,
};
use std::sync::Arc;
use tracing::Instrument as _;

const FHIR_JSON: &str = "application/fhir+json";
const FORM: &str = "application/x-www-form-urlencoded";
const IF_NONE_EXIST: HeaderName = HeaderName::from_static("if-none-exist");
const PREFER: HeaderName = HeaderName::from_static("prefer");
/// The most we read of an answer; a record server answers a session with far less.
const MOST_BYTES: usize = 32 * 1024 * 1024;

/// A connection to one target.
#[derive(Debug, Clone)]
pub struct Connection {
    wire: Arc<dyn Wire>,
    target: Target,
    tokens: Arc<Tokens>,
    learned: Arc<Learned>,
    breaker: Arc<Breaker>,
}

/// What a server answered.
#[derive(Debug, Clone)]
pub struct Answer {
    /// HTTP status.
    pub status: u16,
    /// The body, where it is JSON.
    pub body: Option<Private<Node>>,
    /// Retry-After, as written.
    pub retry_after: Option<String>,
}

impl Answer {
    /// An answer from what came over the wire; a body that is no JSON counts as none. Nothing where it
    /// holds more values than are read.
    pub fn read(status: u16, body: Vec<u8>, retry_after: Option<String>) -> Option<Self> {
        let body = match String::from_utf8(body).map(|text| Node::parse(&text)) {
            Ok(Ok(node)) => Some(Private::new(node)),
            Ok(Err(NotJson::Many | NotJson::Wide)) => return None,
            Ok(Err(NotJson::Syntax { .. } | NotJson::Twice { .. } | NotJson::Deep)) | Err(_) => {
                None
            }
        };
        Some(Self {
            status,
            body,
            retry_after,
        })
    }
}

impl Connection {
    /// A client for a target.
    ///
    /// # Errors
    /// [`NoClient`] when TLS cannot be set up, or a file of the target cannot be used.
    pub fn new(target: Target) -> Result<Self, NoClient> {
        let wire = Arc::new(Clients::of(&target)?);
        Ok(Self::over(wire, target))
    }

    /// A connection to a target over a wire of one's own.
    pub fn over(wire: Arc<dyn Wire>, target: Target) -> Self {
        Self {
            wire,
            breaker: Arc::new(Breaker::new(target.breaker)),
            target,
            tokens: Arc::default(),
            learned: Arc::default(),
        }
    }

    /// What says when the target is left alone; shared by all who work on it in this process.
    pub fn breaker(&self) -> &Breaker {
        &self.breaker
    }

    /// What this process learned of the server.
    pub(super) fn learned(&self) -> &Learned {
        &self.learned
    }

    /// The target.
    pub const fn target(&self) -> &Target {
        &self.target
    }

    /// Searches by POST, so that no identifier stands in an address or a log of the server
    /// (FHIR R4, http.html#search: `POST [base]/[type]/_search`). Not `no-store`: a server may answer that
    /// with a part of what it holds and without a link to the rest.
    pub async fn search(&self, kind: &str, form: &str) -> Result<Answer, Silence> {
        let asked = Call::post("search", &format!("/{kind}/_search"), FORM, form.to_owned())
            .with(CACHE_CONTROL, "no-cache");
        self.answer(asked).await
    }

    /// Creates a resource unless one that fits the condition exists.
    pub async fn create(
        &self,
        kind: &str,
        condition: Option<&str>,
        resource: &Node,
    ) -> Result<Answer, Silence> {
        let asked = Call::post("create", &format!("/{kind}"), FHIR_JSON, resource.compact());
        let asked = match condition {
            Some(condition) => asked.with(IF_NONE_EXIST, condition),
            None => asked,
        };
        self.answer(asked).await
    }

    /// Puts a resource in the place of a version of it.
    pub(super) async fn replace(
        &self,
        reference: &str,
        if_match: Option<&str>,
        resource: &Node,
    ) -> Result<Answer, Silence> {
        let asked = Call::post(
            "update",
            &format!("/{reference}"),
            FHIR_JSON,
            resource.compact(),
        );
        let asked = match if_match {
            Some(version) => asked.with(IF_MATCH, version),
            None => asked,
        };
        let method = Method::PUT;
        self.answer(Call { method, ..asked }).await
    }

    /// Reads what the server declares of itself (FHIR R4, http.html#capabilities).
    ///
    /// # Errors
    /// [`Unanswered`], with its cause.
    pub async fn metadata(&self) -> Result<Answer, Unanswered> {
        self.exchange(Call {
            interaction: "capabilities",
            method: Method::GET,
            path: "/metadata".to_owned(),
            headers: Vec::new(),
            body: None,
        })
        .await
    }

    /// Has a resource judged without storing it (FHIR R4, resource-operation-validate.html).
    ///
    /// # Errors
    /// [`Silence`] when no answer came.
    pub async fn validate(&self, kind: &str, resource: &Node) -> Result<Answer, Silence> {
        let path = format!("/{kind}/$validate");
        self.answer(Call::post("validate", &path, FHIR_JSON, resource.compact()))
            .await
    }

    /// Sends a Bundle of entries that are to be done.
    pub async fn bundle(&self, bundle: &Node) -> Result<Answer, Silence> {
        let asked = Call::post("bundle", "", FHIR_JSON, bundle.compact());
        self.answer(asked.with(PREFER, "return=minimal")).await
    }

    /// The token a request would carry now; nothing where the sign-in of the target needs none.
    ///
    /// # Errors
    /// [`NoToken`].
    pub async fn token(&self) -> Result<Option<Token>, NoToken> {
        let SignIn::Smart(smart) = &self.target.sign_in else {
            return Ok(None);
        };
        let base = self.target.base.open();
        self.tokens.token(&*self.wire, base, smart).await.map(Some)
    }

    async fn answer(&self, asked: Call) -> Result<Answer, Silence> {
        let answer = self.exchange(asked).await;
        answer.map_err(|unanswered| unanswered.silence)
    }

    /// One request and its answer. A token may be withdrawn before its time, so a 401 to one that
    /// was given before is answered with a new one, once; a server that says 401 took nothing.
    async fn exchange(&self, asked: Call) -> Result<Answer, Unanswered> {
        let token = self.token().await.map_err(no_token)?;
        let answer = self.once(&asked, token.as_ref()).await?;
        let (401, Some(token)) = (answer.status, token) else {
            return Ok(answer);
        };
        self.tokens.refused(&token).await;
        let token = self.token().await.map_err(no_token)?;
        self.once(&asked, token.as_ref()).await
    }

    async fn once(&self, asked: &Call, token: Option<&Token>) -> Result<Answer, Unanswered> {
        let request = self.request(asked, token).map_err(silent)?;
        let base = self.target.base.open();
        let span = traced::span(base, &asked.method, asked.interaction);
        let exchanged = self.wire.exchange(request, MOST_BYTES);
        let exchanged = exchanged.instrument(span.clone()).await;
        traced::ended(&span, &exchanged);
        let response = exchanged?;
        if !response.whole {
            return Err(TOO_LARGE);
        }
        let retry_after = response.headers.get(RETRY_AFTER);
        let retry_after = retry_after.and_then(|value| value.to_str().ok());
        let retry_after = retry_after.map(str::to_owned);
        let bytes = if may_be_json(&response.headers) {
            response.body.opened()
        } else {
            Vec::new()
        };
        Answer::read(response.status, bytes, retry_after).ok_or(TOO_LARGE)
    }

    fn request(&self, asked: &Call, token: Option<&Token>) -> Result<Request, Silence> {
        let mut headers = client::fixed(&self.target.headers).ok_or(Silence::Secret)?;
        headers.insert(ACCEPT, HeaderValue::from_static(FHIR_JSON));
        if let Some(value) = authorization(&self.target.sign_in, token)? {
            headers.insert(AUTHORIZATION, value);
        }
        for (name, value) in &asked.headers {
            // As the client itself does with what no header can carry.
            let value = HeaderValue::try_from(value).map_err(|_no_value| Silence::Unreachable)?;
            headers.append(name, value);
        }
        Ok(Request {
            method: asked.method.clone(),
            address: Private::new(format!("{}{}", self.target.base.open(), asked.path)),
            headers,
            body: asked.body.clone().map(Private::new),
        })
    }
}

/// What is asked of the server, before it is signed in.
struct Call {
    /// What it is, in the words of FHIR (R4, http.html), for traces.
    interaction: &'static str,
    method: Method,
    path: String,
    headers: Vec<(HeaderName, String)>,
    body: Option<String>,
}

impl Call {
    fn post(interaction: &'static str, path: &str, kind: &str, body: String) -> Self {
        Self {
            interaction,
            method: Method::POST,
            path: path.to_owned(),
            headers: vec![(CONTENT_TYPE, kind.to_owned())],
            body: Some(body),
        }
    }

    fn with(mut self, name: HeaderName, value: &str) -> Self {
        self.headers.push((name, value.to_owned()));
        self
    }
}

/// There is an answer, and it is not read.
const TOO_LARGE: Unanswered = Unanswered {
    silence: Silence::TooLarge,
    cause: Cause::Large,
};

const fn silent(silence: Silence) -> Unanswered {
    Unanswered {
        silence,
        cause: Cause::Other,
    }
}

const fn no_token(why: NoToken) -> Unanswered {
    silent(Silence::NoToken(why))
}

/// Whether the secrets and the fixed headers of a target can be read now.
pub(super) fn secrets_readable(target: &Target) -> bool {
    let key = match &target.sign_in {
        SignIn::Smart(smart) => assertion::key_readable(smart),
        SignIn::None | SignIn::Basic(_) | SignIn::Bearer(_) => true,
    };
    key && authorization(&target.sign_in, None).is_ok() && client::fixed(&target.headers).is_some()
}

fn authorization(sign_in: &SignIn, token: Option<&Token>) -> Result<Option<HeaderValue>, Silence> {
    let secret = |path| secret::text(path).map_err(|_no_secret| Silence::Secret);
    let text = match sign_in {
        SignIn::None => return Ok(None),
        SignIn::Smart(_) => match token {
            Some(token) => format!("Bearer {}", token.value.open()),
            None => return Ok(None),
        },
        SignIn::Basic(path) => {
            format!(
                "Basic {}",
                BASE64_STANDARD.encode(secret(path)?.open().trim_end_matches('\n'))
            )
        }
        SignIn::Bearer(path) => format!("Bearer {}", secret(path)?.open().trim()),
    };
    let mut value = HeaderValue::try_from(text).map_err(|_not_ascii| Silence::Secret)?;
    value.set_sensitive(true);
    Ok(Some(value))
}

/// "application/fhir+json" or "application/json" (FHIR R4, http.html#mime-type), with any parameters;
/// what says that it is something else is not read, even where it looks like an answer. What does not
/// say what it is, is judged by its content.
fn may_be_json(headers: &HeaderMap) -> bool {
    let Some(kind) = headers.get(CONTENT_TYPE) else {
        return true;
    };
    let kind = kind.to_str().unwrap_or_default();
    let kind = kind.split(';').next().unwrap_or_default().trim();
    let kind = kind.to_ascii_lowercase();
    kind.ends_with("/json") || kind.ends_with("+json")
}

/// What a server says in an `OperationOutcome`, for the person who asks; it may repeat content.
pub fn server_words(answer: &Answer) -> Private<String> {
    let body = answer.body.as_ref().map(Private::open);
    Private::new(match body.and_then(outcome_words) {
        None => format!("the server answered {} and gave no reason", answer.status),
        Some(said) => format!("the server answered {}: {said}", answer.status),
    })
}

/// The most characters of what a server says that are kept.
const MOST_WORDS: usize = 4000;

/// The words of an `OperationOutcome`, the beginning where they are many; nothing where it says none.
pub(super) fn outcome_words(outcome: &Node) -> Option<String> {
    let mut all = String::new();
    for said in outcome.items_of("issue").iter().filter_map(issue_words) {
        if !all.is_empty() {
            all.push_str("; ");
        }
        all.push_str(said);
        if let Some((end, _)) = all.char_indices().nth(MOST_WORDS) {
            all.truncate(end);
            all.push('…');
            break;
        }
    }
    (!all.is_empty()).then_some(all)
}

/// The words of one issue of an `OperationOutcome`.
pub fn issue_words(issue: &Node) -> Option<&str> {
    let details = || issue.at(&["details", "text"])?.text();
    issue.text_of("diagnostics").or_else(details)
}
