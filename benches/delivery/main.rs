//! What the safety of a delivery costs, beside doing the bare minimum at the same record server and in the
//! same kind of store.
//!
//! `cargo bench --bench delivery` prints everything in one table; `-- deliveries accepts claims practice memory`
//! names parts. It asks the record server at `FASCICLE_RECORD_SERVER`, or else the practice server in a
//! process of its own; PostgreSQL where `FASCICLE_POSTGRES` names one. The memory is watched for
//! `FASCICLE_BENCH_MINUTES`, 10 where nothing is said; `FASCICLE_BENCH_SMALL=1` tries everything with little.
#![expect(
    clippy::as_conversions,
    clippy::cast_precision_loss,
    clippy::disallowed_methods,
    clippy::expect_used,
    clippy::float_arithmetic,
    clippy::indexing_slicing,
    clippy::print_stdout,
    reason = "a bench counts in floats, reads the time and files, prints, and stops where it cannot go on"
)]

/// As in the binary.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

mod accepts;
mod bare;
mod claims;
mod deliveries;
mod memory;
mod practice;
mod server;
mod stores;

use crate::server::Server;
use std::time::Duration;

/// A line of the table.
struct Ratio {
    what: String,
    ours: String,
    other: String,
    came_to: f64,
    aim: Aim,
}

/// What a ratio should come to.
#[derive(Clone, Copy)]
enum Aim {
    AtLeast(f64),
    AtMost(f64),
}

/// How much is done.
#[derive(Clone, Copy)]
struct Size {
    small: bool,
}

impl Size {
    const fn of<T: Copy>(self, few: T, many: T) -> T {
        if self.small { few } else { many }
    }
}

fn main() {
    fascicle::delivery::deliver::install_tls();
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let parts: Vec<String> = std::env::args()
        .skip(1)
        .filter(|one| !one.starts_with("--"))
        .collect();
    let wanted = |part: &str| parts.is_empty() || parts.iter().any(|one| one == part);
    let size = Size {
        small: std::env::var("FASCICLE_BENCH_SMALL").is_ok_and(|value| value == "1"),
    };
    let mut table = Vec::new();
    runtime.block_on(async {
        let server = Server::of_the_environment();
        println!("record server: {}", server.words());
        println!("PostgreSQL: {}", stores::words());
        if wanted("accepts") {
            table.extend(accepts::measured(size).await);
        }
        if wanted("claims") {
            table.extend(claims::measured(size).await);
        }
        if wanted("practice") {
            table.extend(practice::measured(size).await);
        }
        if wanted("deliveries") {
            table.push(deliveries::measured(&server, size).await);
        }
        if wanted("memory") {
            table.push(memory::measured(&server, size).await);
        }
    });
    println!(
        "\n{:52} {:>16} {:>16} {:>7}  aim",
        "medians of alternating runs", "Fascicle", "beside it", "ratio"
    );
    for line in table {
        let (aim, met) = match line.aim {
            Aim::AtLeast(least) => (format!(">= {least}"), line.came_to >= least),
            Aim::AtMost(most) => (format!("<= {most}"), line.came_to <= most),
        };
        println!(
            "{:52} {:>16} {:>16} {:>7.3}  {aim} {}",
            line.what,
            line.ours,
            line.other,
            line.came_to,
            if met { "met" } else { "missed" }
        );
    }
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

fn per_second(things: usize, took: Duration) -> f64 {
    things as f64 / took.as_secs_f64()
}
