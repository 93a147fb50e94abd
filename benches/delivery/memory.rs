//! The memory of the service while it takes sessions in and delivers them for minutes.

use crate::server::Server;
use crate::stores::Kind;
use crate::{Aim, Ratio, Size};
use std::fs;
use std::io::{BufRead as _, BufReader};
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

const TOKEN: &str = "0123456789abcdef0123456789abcdef";

/// Sessions of one person; what a session is held against grows with those before it.
const OF_ONE_PERSON: usize = 4;

/// Sessions that wait at most: the service is to be busy, not to fall behind.
const WAITING: usize = 20;

pub(crate) async fn measured(server: &Server, size: Size) -> Ratio {
    let minutes = std::env::var("FASCICLE_BENCH_MINUTES").ok();
    let minutes = minutes.map_or(10, |text| text.parse().expect("a number of minutes"));
    let minute = Duration::from_secs(size.of(5, 60));
    let new = Kind::Sqlite.empty().await;
    let (service, base) = start(Path::new(&new.address), &server.base);
    let mut peaks = Vec::new();
    let mut taken = 0;
    let began = Instant::now();
    // What is loaded once is loaded before the first minute.
    taken += feed(server, &base, began + minute / 4).await;
    for number in 1..=minutes {
        let process = format!("/proc/{}", service.0.id());
        // Begins a new peak (proc_pid_clear_refs(5)).
        fs::write(format!("{process}/clear_refs"), "5").expect("a peak begins");
        taken += feed(server, &base, Instant::now() + minute).await;
        let peak = peak(&format!("{process}/status"));
        println!("memory, minute {number}: peak {peak} KiB, {taken} sessions taken in so far");
        peaks.push(peak);
    }
    let (first, last) = (peaks[0], peaks[peaks.len() - 1]);
    Ratio {
        what: format!("peak memory of minute {minutes} / of minute 1"),
        ours: format!("{} MiB", last / 1024),
        other: format!("{} MiB", first / 1024),
        came_to: last as f64 / first as f64,
        aim: Aim::AtMost(1.1),
    }
}

/// A running service; it ends with the value, also where the bench stops in the middle.
struct Service(Child);

impl Drop for Service {
    fn drop(&mut self) {
        // A child that ended by itself is as good.
        drop(self.0.kill());
        drop(self.0.wait());
    }
}

/// The service over a store in this folder, and its address.
fn start(folder: &Path, server: &str) -> (Service, String) {
    let (tokens, config) = (folder.join("tokens"), folder.join("fascicle.toml"));
    fs::write(&tokens, TOKEN).expect("written");
    fs::set_permissions(&tokens, fs::Permissions::from_mode(0o600)).expect("its mode");
    let text = format!(
        "state = '{}'\n[serve]\naddress = '127.0.0.1:0'\ntoken_file = '{}'\n[[target]]\nname = 'record'\n\
         base = '{server}'\n",
        folder.join("state").display(),
        tokens.display()
    );
    fs::write(&config, text).expect("written");
    let mut child = Command::new(env!("CARGO_BIN_EXE_fascicle"))
        .args(["serve", "--config"])
        .arg(&config)
        .env("NO_PROXY", "127.0.0.1")
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("the binary starts");
    let mut lines = BufReader::new(child.stdout.take().expect("its output")).lines();
    let first = lines.next().expect("a line").expect("text");
    // The rest of what it says is read, so that it never waits for a reader.
    std::thread::spawn(move || lines.for_each(drop));
    let base = first.trim().strip_prefix("BASE=").expect("its address");
    (Service(child), base.to_owned())
}

/// Submits sessions until then, as many as the service delivers.
async fn feed(server: &Server, base: &str, until: Instant) -> usize {
    let mut taken = 0;
    while Instant::now() < until {
        let person = server.person().await;
        for _ in 0..OF_ONE_PERSON {
            let request = server.client.post(format!("{base}/sessions"));
            let request = request
                .bearer_auth(TOKEN)
                .header("content-type", "application/json");
            let answer = request.body(person.session()).send().await;
            let status = answer.expect("an answer").status().as_u16();
            assert_eq!(status, 202);
            taken += 1;
        }
        while Instant::now() < until && waiting(server, base).await > WAITING {
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
    }
    taken
}

async fn waiting(server: &Server, base: &str) -> usize {
    let request = server.client.get(format!("{base}/queue"));
    let answer = request.bearer_auth(TOKEN).send().await.expect("an answer");
    let text = answer.text().await.expect("a body");
    let queue: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    queue["items"].as_array().expect("items").len()
}

fn peak(status: &str) -> u64 {
    let text = fs::read_to_string(status).expect("the service runs");
    let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let kib = line.and_then(|line| line.trim().strip_suffix(" kB")?.parse().ok());
    kib.expect("a peak")
}
