#![cfg(test)]
//! `kill -9` at moments by chance, again and again, of processes that take sessions in and deliver them.
//!
//! Two processes work on one store at a time: on one state folder, or as nodes of one database. Whatever
//! was taken in is then delivered, and the record server is asked what it holds. `tests/e2e/kills` plays
//! `FASCICLE_KILLS` of them, half on each kind of store, and prints one table.
#![expect(
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "moments are chance, how many are wanted is told by a variable, and the figures are printed"
)]

use crate::binary::Site;
use crate::document::{Document, Person};
use crate::figures::Figures;
use crate::postgres;
use crate::server::{Server, scenarios};
use std::sync::Mutex;
use std::thread::sleep;
use std::time::Duration;

scenarios!(
    processes_on_one_folder_that_are_killed_lose_and_repeat_nothing,
    nodes_of_one_database_that_are_killed_lose_and_repeat_nothing,
);

/// Kills where no number is asked for.
const FEW: usize = 12;

/// Kills of one store; then everything is delivered and compared, and a new store begins.
const OF_ONE_STORE: usize = 30;

/// People whose sessions come in: a killed process holds the lane of one of them until its lease ends,
/// and the other lanes go on.
const PEOPLE: usize = 6;

/// Processes of one store at a time.
const BESIDE: usize = 2;

/// When a process is killed after its start, in milliseconds.
const MOMENTS: std::ops::Range<u64> = 100..1800;

/// A session that came in: whose, the document, its file.
struct CameIn {
    person: usize,
    document: Document,
    file: String,
}

/// A store, those who work on it, and what came in.
struct Load {
    sites: Vec<Site>,
    people: Vec<Person>,
    came_in: Mutex<Vec<CameIn>>,
}

/// What came of the kills of one engine.
#[derive(Default)]
struct Told {
    kills: usize,
    in_an_attempt: usize,
    sessions: usize,
    delivered: usize,
}

impl Load {
    fn new(server: &Server, sites: Vec<Site>) -> Self {
        Self {
            sites,
            people: (0..PEOPLE).map(|_| Person::known(server)).collect(),
            came_in: Mutex::default(),
        }
    }

    /// Of one of those who work: nodes have settings of their own, processes on a folder share them.
    fn site(&self, worker: usize) -> &Site {
        &self.sites[worker % self.sites.len()]
    }

    /// A further session at a worker; its file.
    fn comes_in(&self, worker: usize) -> String {
        let mut came_in = self.came_in.lock().expect("no panic inside");
        let person = came_in.len() % PEOPLE;
        let document = self.people[person].session();
        let file = self.site(worker).document(&document);
        came_in.push(CameIn {
            person,
            document,
            file: file.clone(),
        });
        file
    }

    /// Starts a worker with what is new, kills it, and begins again, until so many were killed while they
    /// worked: each runs until what it was given is delivered, so one that runs has something to do.
    fn kill(&self, worker: usize, wanted: usize, seed: u64) -> usize {
        let mut chance = fastrand::Rng::with_seed(seed);
        let mut kills = 0;
        let mut files = Vec::new();
        // One that was too quick for its moment does not count.
        for start in 0..wanted * 10 {
            if kills == wanted {
                break;
            }
            if start % 2 == 0 {
                files.push(self.comes_in(worker));
            }
            // Who submits and got no answer submits again.
            let again = files.len().saturating_sub(3);
            let given: Vec<&str> = files[again..].iter().map(String::as_str).collect();
            let mut child = self.site(worker).start(&given, 60);
            sleep(Duration::from_millis(chance.u64(MOMENTS)));
            kills += usize::from(child.try_wait().expect("a child").is_none());
            child.kill().expect("a child to kill");
            child.wait().expect("a killed child");
        }
        kills
    }

    /// Submits everything again, and waits until it is delivered.
    fn deliver(&self, figures: &mut Figures) {
        let came_in = self.came_in.lock().expect("no panic inside");
        let files: Vec<&str> = came_in.iter().map(|one| one.file.as_str()).collect();
        std::thread::scope(|scope| {
            let parts = files.chunks(files.len().div_ceil(BESIDE));
            let parts = parts.enumerate().map(|(worker, part)| {
                let site = self.site(worker);
                scope.spawn(move || site.send(part, 900))
            });
            for part in parts.collect::<Vec<_>>() {
                let run = part.join().expect("it ends");
                if run.code != Some(0) {
                    figures.fault(format!("{:?} {}", run.code, run.text));
                }
            }
        });
    }

    /// Compares what came in with what the record server holds.
    fn compare(&self, figures: &mut Figures, told: &mut Told, server: &Server) {
        let came_in = self.came_in.lock().expect("no panic inside");
        for (number, person) in self.people.iter().enumerate() {
            let of_person = came_in.iter().filter(|one| one.person == number);
            let documents: Vec<&Document> = of_person.map(|one| &one.document).collect();
            let sessions: Vec<String> = documents.iter().map(|one| one.session()).collect();
            figures.count(server, person, &documents);
            figures.order_of(self.site(0), &sessions);
        }
        let verified = self.site(0).run("trail", &["--verify"]);
        if verified.code != Some(0) {
            figures.fault(verified.text);
        }
        figures.round();
        told.sessions += came_in.len();
        let queue = self.site(0).queue();
        let delivered =
            |item: &&fascicle::base::json::Node| item.text_of("state") == Some("delivered");
        told.delivered += queue.iter().filter(delivered).count();
        // A lease that ended by itself is that of a worker that was killed with an item in its hands.
        let trail = self.site(0).trail();
        let ended = trail.iter().filter(|row| {
            let reason = row
                .at(&["detail", "reason"])
                .and_then(|reason| reason.text());
            row.text_of("event") == Some("unknown") && reason == Some("lease-ended")
        });
        told.in_an_attempt += ended.count();
    }
}

fn processes_on_one_folder_that_are_killed_lose_and_repeat_nothing(server: &Server) {
    played(server, "SQLite", || vec![Site::hasty(&server.base())]);
}

fn nodes_of_one_database_that_are_killed_lose_and_repeat_nothing(server: &Server) {
    let Some(shared) = postgres::shared() else {
        return;
    };
    played(server, "PostgreSQL", || {
        let database = postgres::database(&shared);
        let node = || Site::hasty_on(&server.base(), &database);
        vec![node(), node()]
    });
}

fn played(server: &Server, engine: &str, sites: impl Fn() -> Vec<Site>) {
    let wanted = wanted();
    let seed = fastrand::u64(..);
    let mut moments = fastrand::Rng::with_seed(seed);
    let mut figures = Figures::new(server, &format!("killed at random, {engine}"));
    let mut told = Told::default();
    println!("{engine}: moments are drawn with {seed}");
    while told.kills < wanted {
        let load = Load::new(server, sites());
        let each = OF_ONE_STORE.min(wanted - told.kills).div_ceil(BESIDE);
        let kills: usize = std::thread::scope(|scope| {
            let load = &load;
            let workers: Vec<_> = (0..BESIDE)
                .map(|worker| (worker, moments.u64(..)))
                .map(|(worker, seed)| scope.spawn(move || load.kill(worker, each, seed)))
                .collect();
            let kills = workers.into_iter().map(|one| one.join().expect("it ends"));
            kills.sum()
        });
        // No more is killed: whatever a machine is busy with, there is time to deliver.
        load.sites.iter().for_each(Site::take_time);
        load.deliver(&mut figures);
        load.compare(&mut figures, &mut told, server);
        told.kills += kills;
        if kills == 0 {
            figures.fault("no process was there to be killed".to_owned());
            break;
        }
    }
    println!(
        "KILLS engine={engine} server={} kills={} in_an_attempt={} sessions={} delivered={} {}",
        if server.real { "real" } else { "practice" },
        told.kills,
        told.in_an_attempt,
        told.sessions,
        told.delivered,
        figures.pairs()
    );
    figures.told();
    assert_eq!(told.delivered, told.sessions);
}

/// Kills of one store: half of those that are asked for.
fn wanted() -> usize {
    std::env::var("FASCICLE_KILLS").map_or(FEW, |all| {
        let all: usize = all.parse().expect("a number of kills");
        all.div_ceil(2)
    })
}
