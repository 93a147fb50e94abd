#![cfg(test)]
//! A service over a store of its own. Every answer it gives is held against the published description.

use crate::described;
use axum::body::Body;
use axum::http::{Request, Response};
use fascicle::base::clock::Clock;
use fascicle::delivery::outbox::Outbox;
use fascicle::service::config::Settings;
use fascicle::service::config::limits::Limits;
use fascicle::service::web::Service as Web;
use fascicle::service::web::outside::Outside;
use fascicle::service::web::tokens::Tokens;
use fascicle::tables::catalogue::Catalogue;
use serde_json::Value;
use sqlx::Connection as _;
use std::os::unix::fs::PermissionsExt;
use std::path::PathBuf;
use std::sync::Arc;
use tower::ServiceExt as _;

pub(crate) const TOKEN: &str = "0123456789abcdef0123456789abcdef";

#[derive(Debug)]
struct Still;

impl Clock for Still {
    fn now(&self) -> chrono::DateTime<chrono::Utc> {
        crate::document::now()
    }
}

/// The service, its store, and the folder both live in.
pub(crate) struct Service {
    pub(crate) outbox: Outbox,
    web: Web,
    folder: tempfile::TempDir,
}

/// An answer, read whole.
#[derive(Debug)]
pub(crate) struct Answer {
    pub(crate) status: u16,
    headers: axum::http::HeaderMap,
    pub(crate) text: String,
}

impl Answer {
    pub(crate) fn header(&self, name: &str) -> &str {
        let value = self.headers.get(name);
        value.map_or("", |value| value.to_str().expect("ASCII"))
    }

    pub(crate) fn json(&self) -> Value {
        serde_json::from_str(&self.text).expect("JSON")
    }

    /// The last word of the type of a problem document.
    pub(crate) fn problem(&self) -> String {
        assert_eq!(self.header("content-type"), "application/problem+json");
        let json = self.json();
        assert_eq!(json["status"], self.status, "RFC 9457, section 3.1.2");
        assert!(json["title"].is_string() && json["detail"].is_string());
        let kind = json["type"].as_str().expect("a type");
        let base = "https://fascicle.example/fhir/problem/";
        kind.strip_prefix(base).expect("our own type").to_owned()
    }

    pub(crate) fn with_status(self, status: u16) -> Self {
        assert_eq!(self.status, status, "{}", self.text);
        self
    }
}

impl Service {
    pub(crate) async fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let outbox = Outbox::open(folder.path()).await.expect("a store");
        outbox.bind_target("ward", "0").await.expect("bound");
        let text = "state = 'x'\n[[target]]\nname = 'ward'\nbase = 'http://127.0.0.1:9/fhir'\n\
                    purpose = 'test'\n";
        let settings = Settings::read(text).expect("settings");
        let path = folder.path().join("tokens");
        write_tokens(&path, TOKEN);
        let web = Web::new(
            outbox.clone(),
            Arc::new(Catalogue::embedded().expect("tables")),
            Outside {
                targets: settings.targets.clone(),
                routes: settings.routes.clone(),
                ..Outside::default()
            },
            Tokens::at(path).expect("tokens"),
            Arc::new(Still),
        );
        Self {
            outbox,
            web,
            folder,
        }
    }

    /// The same within other limits.
    pub(crate) fn within(self, limits: Limits) -> Self {
        // Nobody cuts anything off.
        let (_never, cut) = tokio::sync::watch::channel(false);
        let web = self.web.within(limits, cut);
        Self { web, ..self }
    }

    /// Keeps everybody else from writing to the store until the connection ends.
    pub(crate) async fn store_held(&self) -> sqlx::SqliteConnection {
        let file = self.folder.path().join("fascicle.sqlite");
        let options = sqlx::sqlite::SqliteConnectOptions::new().filename(file);
        let mut connection = sqlx::SqliteConnection::connect_with(&options)
            .await
            .expect("the store");
        sqlx::query("BEGIN IMMEDIATE")
            .execute(&mut connection)
            .await
            .expect("nobody writes");
        connection
    }

    /// Says something to the store behind its back: what only a forger or a newer release would say.
    pub(crate) async fn say(&self, statement: &str) {
        let file = self.folder.path().join("fascicle.sqlite");
        let connection = sqlx::SqliteConnection::connect(&format!("sqlite://{}", file.display()));
        let mut connection = connection.await.expect("a connection");
        let said = sqlx::query(sqlx::AssertSqlSafe(statement.to_owned()));
        said.execute(&mut connection).await.expect("done");
    }

    pub(crate) fn token_file(&self) -> PathBuf {
        self.folder.path().join("tokens")
    }

    pub(crate) async fn answer(&self, request: Request<Body>) -> Answer {
        let (method, path) = (request.method().clone(), request.uri().path().to_owned());
        let answered = self.web.router().oneshot(request).await;
        let answer = read(answered.expect("the router answers")).await;
        described::holds(method.as_str(), &path, &answer);
        answer
    }

    pub(crate) async fn get(&self, path: &str) -> Answer {
        let request = Request::get(path).header("authorization", format!("Bearer {TOKEN}"));
        self.answer(request.body(Body::empty()).expect("a request"))
            .await
    }

    pub(crate) async fn post(&self, path: &str, body: impl Into<Body>) -> Answer {
        let request = Request::post(path)
            .header("authorization", format!("Bearer {TOKEN}"))
            .header("content-type", "application/json");
        self.answer(request.body(body.into()).expect("a request"))
            .await
    }

    /// Submits the sound document; its delivery.
    pub(crate) async fn submitted(&self) -> Value {
        let document = crate::document::sound().compact();
        let answer = self.post("/v1/sessions", document).await.with_status(202);
        answer.json()["items"][0].clone()
    }
}

pub(crate) fn write_tokens(path: &PathBuf, text: &str) {
    std::fs::write(path, text).expect("written");
    let mode = std::fs::Permissions::from_mode(0o600);
    std::fs::set_permissions(path, mode).expect("its mode");
}

async fn read(response: Response<Body>) -> Answer {
    let (head, body) = response.into_parts();
    let bytes = axum::body::to_bytes(body, usize::MAX)
        .await
        .expect("a body");
    Answer {
        status: head.status.as_u16(),
        headers: head.headers,
        text: String::from_utf8(bytes.to_vec()).expect("UTF-8"),
    }
}
