#![cfg(test)]
//! Two nodes that share a PostgreSQL database: cut off from it, and it killed under them.
//!
//! What happens first happens while a node holds a session that the server has and the node does not
//! know of; how the others are hit is chance. The database stays away until a node has ended by it.
#![expect(
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "moments are drawn from the clock, and a scenario tells its figures"
)]

use crate::binary::Site;
use crate::document::{Document, Person};
use crate::figures::Figures;
use crate::postgres::{self, Cluster, Way, say};
use crate::proxy::{Act, Proxy};
use crate::server::{Server, rounds, scenarios};
use crate::service::{OLD, Service, tokens};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::thread::sleep;
use std::time::Duration;

scenarios!(
    a_database_that_is_killed_under_its_nodes_loses_nothing,
    services_outlive_their_database,
    nodes_that_are_cut_off_from_their_database_repeat_nothing,
    a_standby_takes_over_and_nothing_is_lost,
);

/// People whose sessions come in at both nodes.
const PEOPLE: usize = 3;

/// Sessions that come in at each node in a round.
const SESSIONS: usize = 10;

/// How many rounds are played: all of them with the real server only, because each takes a minute.
fn played(server: &Server, all: usize) -> usize {
    if server.real { rounds(1, all) } else { 1 }
}

/// How often something happens to the database of nodes that work.
const TIMES: usize = 3;

/// Two nodes and what comes in at them.
struct Nodes {
    /// Between them and the record server.
    proxy: Proxy,
    /// Whether the next answer to a session is held.
    holds_next: Arc<AtomicBool>,
    /// Ends of a node that said that the store was away.
    noticed: AtomicUsize,
    sites: [Site; 2],
    people: Vec<Person>,
    /// Of each node, with the number of its person.
    sessions: [Vec<(usize, Document)>; 2],
}

impl Nodes {
    fn new(server: &Server, database: &str) -> Self {
        let people: Vec<Person> = (0..PEOPLE).map(|_| Person::known(server)).collect();
        let sessions = [0, 1].map(|_node| {
            let session = |turn: usize| (turn % PEOPLE, people[turn % PEOPLE].session());
            (0..SESSIONS).map(session).collect()
        });
        let holds_next = Arc::new(AtomicBool::new(false));
        let holds = Arc::clone(&holds_next);
        let proxy = Proxy::new(&server.host, move |request, _| {
            if request.transaction() && holds.swap(false, Ordering::SeqCst) {
                Act::HoldAnswer
            } else {
                Act::Pass
            }
        });
        Self {
            sites: [0, 1].map(|_node| Site::hasty_on(&proxy.base(), database)),
            proxy,
            holds_next,
            noticed: AtomicUsize::new(0),
            people,
            sessions,
        }
    }

    fn files(&self, node: usize) -> Vec<String> {
        let sessions = self.sessions[node].iter();
        let written = sessions.map(|(_person, session)| self.sites[node].document(session));
        written.collect()
    }

    /// Sends what came in at both nodes again and again, as whoever submits it does, until everything
    /// is delivered.
    fn until_all_is_delivered(&self, figures: &mut Figures) {
        std::thread::scope(|scope| {
            let nodes = [0, 1].map(|node| scope.spawn(move || self.until_delivered(node)));
            for ended in nodes.map(|node| node.join().expect("a node that ends")) {
                if let Err(told) = ended {
                    figures.fault(told);
                }
            }
        });
    }

    fn until_delivered(&self, node: usize) -> Result<(), String> {
        let files = self.files(node);
        let files: Vec<&str> = files.iter().map(String::as_str).collect();
        let mut last = None;
        for _ in 0..40 {
            let run = self.sites[node].send(&files, 120);
            if run.code == Some(0) {
                return Ok(());
            }
            if run.text.contains("the store ") {
                self.noticed.fetch_add(1, Ordering::SeqCst);
            }
            // The database may be away; whoever supervises a node waits a little as well.
            sleep(Duration::from_millis(300));
            last = Some(run);
        }
        Err(format!("node {node} never delivers: {last:?}"))
    }

    fn count(&self, figures: &mut Figures, server: &Server) {
        for (number, person) in self.people.iter().enumerate() {
            let of_person = self.sessions.iter().flatten();
            let of_person = of_person.filter(|(whose, _session)| *whose == number);
            let documents: Vec<&Document> = of_person.map(|(_, session)| session).collect();
            let names: Vec<String> = documents.iter().map(|one| one.session()).collect();
            figures.count(server, person, &documents);
            figures.order_of(&self.sites[0], &names);
        }
        let trail = self.sites[1].run("trail", &["--verify"]);
        if trail.code != Some(0) {
            figures.fault(trail.text);
        }
        figures.round();
    }
}

fn a_database_that_is_killed_under_its_nodes_loses_nothing(server: &Server) {
    if postgres::shared().is_none() {
        return;
    }
    let mut figures = Figures::new(server, "two nodes, their database killed and started again");
    let cluster = Cluster::new();
    let mut noticed = 0;
    for _ in 0..played(server, 2) {
        let nodes = Nodes::new(server, &postgres::database(&cluster.address));
        noticed += under_load(
            &nodes,
            &mut figures,
            || cluster.crash(),
            || cluster.start_again(),
        );
        nodes.count(&mut figures, server);
    }
    println!("database killed under load and noticed: {noticed}");
    figures.told();
    assert!(noticed > 0, "no node noticed it");
}

/// The services run on, whatever happens to the database; who submits tries again until it is taken.
fn services_outlive_their_database(server: &Server) {
    if postgres::shared().is_none() {
        return;
    }
    let mut figures = Figures::new(
        server,
        "two services, their database killed and started again",
    );
    let cluster = Cluster::new();
    let database = postgres::database(&cluster.address);
    let nodes = Nodes::new(server, &database);
    let sites = [0, 1].map(|_node| Site::serving_on(&nodes.proxy.base(), &database));
    let services = sites.each_ref().map(|site| {
        tokens(site, OLD);
        Service::start(site)
    });
    let (mut crashes, mut turned_away) = (0, 0);
    for turn in 0..SESSIONS {
        if turn % 4 == 1 {
            cluster.crash();
            crashes += 1;
        }
        for (service, sessions) in services.iter().zip(&nodes.sessions) {
            while !matches!(service.submit(&sessions[turn].1, OLD), 200 | 202) {
                turned_away += 1;
                cluster.start_again();
            }
        }
    }
    let waits = || {
        let answer = services[0].ask("GET", "/v1/queue", OLD, "");
        answer.status != 200 || !answer.body.contains("\"items\":[]")
    };
    for _ in 0..600 {
        if !waits() {
            break;
        }
        sleep(Duration::from_millis(200));
    }

    if waits() {
        figures.fault(services[0].ask("GET", "/v1/queue", OLD, "").body);
    }
    nodes.count(&mut figures, server);
    println!("database killed: {crashes}, submissions turned away: {turned_away}");
    figures.told();
    assert!(turned_away > 0, "nobody noticed it");
}

fn nodes_that_are_cut_off_from_their_database_repeat_nothing(server: &Server) {
    let Some(shared) = postgres::shared() else {
        return;
    };
    let mut figures = Figures::new(server, "two nodes, the way to their database cut");
    let mut noticed = 0;
    for _ in 0..played(server, 2) {
        let database = postgres::database(&shared);
        let port = port_of(&database);
        let way = Way::to(port);
        let nodes = Nodes::new(server, &through(&database, port, way.port));
        noticed += under_load(&nodes, &mut figures, || way.close(), || way.turn(port));
        nodes.count(&mut figures, server);
    }
    println!("all connections cut under load and noticed: {noticed}");
    figures.told();
    assert!(noticed > 0, "no node noticed it");
}

fn a_standby_takes_over_and_nothing_is_lost(server: &Server) {
    if postgres::shared().is_none() {
        return;
    }
    let mut figures = Figures::new(server, "two nodes, a synchronous standby takes over");
    let mut noticed = 0;
    for _ in 0..played(server, 2) {
        let primary = Cluster::new();
        let standby = primary.standby();
        say(
            &primary.address,
            "ALTER SYSTEM SET synchronous_standby_names = 'standby'",
        );
        say(&primary.address, "SELECT pg_reload_conf()::text");
        until_synchronous(&primary);
        let database = postgres::database(&primary.address);
        let way = Way::to(primary.port());
        let nodes = Nodes::new(server, &through(&database, primary.port(), way.port));
        let taken_over = AtomicBool::new(false);
        noticed += under_load(
            &nodes,
            &mut figures,
            || {
                way.close();
                // What happens to the new primary later is that it cannot be reached.
                if !taken_over.load(Ordering::SeqCst) {
                    primary.crash();
                }
            },
            || {
                if !taken_over.swap(true, Ordering::SeqCst) {
                    say(&standby.address, "SELECT pg_promote()::text");
                }
                way.turn(standby.port());
            },
        );
        nodes.count(&mut figures, server);
    }
    println!("failovers and cuts after them that were noticed: {noticed}");
    figures.told();
    assert!(noticed > 0, "no node noticed it");
}

/// Takes the database away a few times while both nodes work, each time until a node has ended by it,
/// and gives it back. How often a node did so.
///
/// The first time an answer of the record server is held, so that a node is in the middle of its work;
/// the others come at moments by chance, unless everything is delivered before.
fn under_load(
    nodes: &Nodes,
    figures: &mut Figures,
    away: impl Fn() + Sync,
    back: impl Fn() + Sync,
) -> usize {
    let done = AtomicBool::new(false);
    nodes.holds_next.store(true, Ordering::SeqCst);
    std::thread::scope(|scope| {
        let happening = scope.spawn(|| {
            let mut noticed = 0;
            let held = nodes.proxy.holds();
            for time in 0..TIMES {
                if time > 0 {
                    sleep(Duration::from_millis(fastrand::u64(500..2000)));
                }
                if done.load(Ordering::SeqCst) {
                    break;
                }
                let before = nodes.noticed.load(Ordering::SeqCst);
                let seen = || nodes.noticed.load(Ordering::SeqCst) > before;
                away();
                while !seen() && !done.load(Ordering::SeqCst) {
                    sleep(Duration::from_millis(20));
                }
                noticed += usize::from(seen());
                back();
                nodes.proxy.let_go();
            }
            (held, noticed)
        });
        nodes.until_all_is_delivered(figures);
        done.store(true, Ordering::SeqCst);
        let (held, noticed) = happening.join().expect("it ends");
        if !held {
            figures.fault("no session reached the server".to_owned());
        }
        noticed
    })
}

fn until_synchronous(primary: &Cluster) {
    for _ in 0..200 {
        let state = "SELECT sync_state FROM pg_stat_replication WHERE application_name = 'standby'";
        if say(&primary.address, state).as_deref() == Some("sync") {
            return;
        }
        sleep(Duration::from_millis(50));
    }
    panic!("the standby does not follow");
}

fn port_of(database: &str) -> u16 {
    let host = database.rsplit_once('/').expect("an address").0;
    let port = host.rsplit_once(':').expect("a port").1;
    port.parse().expect("a number")
}

pub(crate) fn through(database: &str, port: u16, way: u16) -> String {
    database.replace(&format!(":{port}/"), &format!(":{way}/"))
}
