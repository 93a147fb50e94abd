#![cfg(test)]
//! A standby that lags takes over: what was accepted last is missing from its store. It is found, submitted
//! again, and nothing arrives twice. The way of deploy/RUNBOOK.md, "A standby that lagged took over".
#![expect(
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "a standby is asked again after a while, and a scenario tells its figures"
)]

use crate::binary::Site;
use crate::correction::{corrected, corrected_once};
use crate::document::{Document, Person};
use crate::figures::Figures;
use crate::nodes::through;
use crate::postgres::{self, Cluster, Way, say};
use crate::proxy::{Act, Proxy};
use crate::restored::versions;
use crate::server::{Server, scenarios};
use fascicle::base::json::Node;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::sleep;
use std::time::Duration;

scenarios!(what_a_standby_of_a_database_did_not_get_is_found_and_submitted_again);

/// A primary, its asynchronous standby, and a node that reaches whichever is led to.
struct Ground {
    primary: Cluster,
    standby: Cluster,
    /// By which the standby follows.
    line: Way,
    /// By which the node reaches its database.
    way: Way,
    /// Of the store, on the primary.
    database: String,
    proxy: Proxy,
    holds_next: Arc<AtomicBool>,
    site: Site,
}

impl Ground {
    fn new(server: &Server) -> Self {
        let primary = Cluster::new();
        let line = Way::to(primary.port());
        let standby = Cluster::standby_by(line.port);
        let database = postgres::database(&primary.address);
        let way = Way::to(primary.port());
        let holds_next = Arc::new(AtomicBool::new(false));
        let holds = Arc::clone(&holds_next);
        let proxy = Proxy::new(&server.host, move |request, _| {
            if request.transaction() && holds.swap(false, Ordering::SeqCst) {
                Act::HoldAnswer
            } else {
                Act::Pass
            }
        });
        let by_way = through(&database, primary.port(), way.port);
        Self {
            site: Site::hasty_on(&proxy.base(), &by_way),
            primary,
            standby,
            line,
            way,
            database,
            proxy,
            holds_next,
        }
    }

    fn delivers(&self, session: &Document) {
        let file = self.site.document(session);
        self.site.send(&[&file], 60).ended(0);
    }

    /// The server has it, and the node that sent it is killed before it knows.
    fn delivers_half(&self, session: &Document) {
        self.holds_next.store(true, Ordering::SeqCst);
        let mut node = self.site.start(&[&self.site.document(session)], 60);
        assert!(self.proxy.holds(), "the session is at the server");
        node.kill().expect("a node to kill");
        node.wait().expect("a killed node");
        self.proxy.let_go();
    }

    /// It is accepted, and nothing more.
    fn accepts(&self, session: &Document) {
        let file = self.site.document(session);
        self.site.send(&[&file], 0).ended(4);
    }

    /// From here on the standby hears nothing more; it has everything until here.
    fn cut_the_line(&self) {
        let written = say(&self.primary.address, "SELECT pg_current_wal_lsn()::text");
        let written = written.expect("a place");
        let has = format!("SELECT (pg_last_wal_replay_lsn() >= '{written}')::text");
        let mut looks = 0;
        while say(&self.standby.address, &has).as_deref() != Some("true") {
            looks += 1;
            assert!(looks < 600, "the standby does not follow");
            sleep(Duration::from_millis(50));
        }
        self.line.close();
    }

    fn take_over(&self) {
        self.way.close();
        self.primary.crash();
        say(&self.standby.address, "SELECT pg_promote()::text");
        self.way.turn(self.standby.port());
    }

    /// What the old primary accepted and the new one does not know.
    fn missing(&self, noted: &str) -> Vec<(String, String)> {
        // That something is missing, the noted hash says: the trail that is left holds in itself.
        self.site.run("trail", &["--verify"]).ended(0);
        let expected = self.site.run("trail", &["--verify", "--expect", noted]);
        assert!(expected.ended(1).text.contains("no row has the hash"));
        // What it is, the old primary says once its disk is there again.
        self.primary.start_again();
        let old = Site::hasty_on(&self.proxy.base(), &self.database);
        let new = accepted_of(&self.site);
        let mut missing = accepted_of(&old);
        missing.retain(|one| !new.contains(one));
        missing
    }

    /// Submits as those do who know only what they submitted; whether the store knew each.
    fn submitted_again(&self, sessions: &[&Document]) -> Vec<bool> {
        let files = sessions.iter().map(|session| self.site.document(session));
        let files: Vec<String> = files.collect();
        let files: Vec<&str> = files.iter().map(String::as_str).collect();
        let again = self.site.send(&files, 120).ended(0);
        let knew = |document: &Node| document.member("accepted_before") == Some(&Node::Bool(true));
        let again = again.json();
        again.items_of("documents").iter().map(knew).collect()
    }
}

fn what_a_standby_of_a_database_did_not_get_is_found_and_submitted_again(server: &Server) {
    if postgres::shared().is_none() {
        return;
    }
    let mut figures = Figures::new(server, "an asynchronous standby takes over");
    let ground = Ground::new(server);
    let site = &ground.site;
    let [one, two, three] = [(); 3].map(|()| Person::known(server));
    let (kept, to_correct) = (one.session(), three.session());
    let (delivered, correction) = (one.session(), corrected(&to_correct));
    let (half, accepted) = (two.session(), two.session());
    ground.delivers(&kept);
    ground.delivers(&to_correct);
    ground.cut_the_line();
    ground.delivers(&delivered);
    ground.delivers(&correction);
    ground.delivers_half(&half);
    ground.accepts(&accepted);
    let noted = last_hash(site);
    let there = [&one, &three].map(|person| versions(server, person));

    ground.take_over();

    let missing = [&delivered, &correction, &half, &accepted];
    assert_eq!(ground.missing(&noted), missing.map(name_of));
    let sent_before = ground.proxy.transactions().len();
    let all = [&[&kept, &to_correct][..], &missing].concat();
    let known = ground.submitted_again(&all);
    assert_eq!(known, [true, true, false, false, false, false]);
    // Three are found at the server and not sent again; the one that never left is.
    let sent = ground.proxy.transactions().len() - sent_before;
    assert_eq!(sent, 1);
    assert_eq!([&one, &three].map(|person| versions(server, person)), there);
    corrected_once(server, &three, &to_correct);
    figures.round();
    figures.count(server, &one, &[&kept, &delivered]);
    figures.count(server, &two, &[&half, &accepted]);
    for of_person in [[&kept, &delivered], [&half, &accepted]] {
        figures.order_of(site, &of_person.map(Document::session));
    }
    site.run("trail", &["--verify"]).ended(0);
    println!(
        "accepted before the failover {}, missing from the standby {}; submitted again: found at the \
         server {}, sent {sent}",
        all.len(),
        missing.len(),
        missing.len() - sent,
    );
    figures.told();
}

fn last_hash(site: &Site) -> String {
    let told = site.run("trail", &["--verify"]).ended(0).text;
    let hash = told
        .lines()
        .find_map(|line| line.strip_prefix("last hash: "));
    hash.expect("a hash").to_owned()
}

/// Session and version of everything a store accepted.
fn accepted_of(site: &Site) -> Vec<(String, String)> {
    let trail = site.trail();
    let accepted = trail
        .iter()
        .filter(|row| row.text_of("event") == Some("accepted"));
    let name = |row: &Node| {
        let version = row.member("version").expect("a version").compact();
        (
            row.text_of("session").expect("a session").to_owned(),
            version,
        )
    };
    accepted.map(name).collect()
}

fn name_of(session: &Document) -> (String, String) {
    (
        session.session(),
        session.json["session"]["version"].to_string(),
    )
}
