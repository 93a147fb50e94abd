//! What is known of each connection, and which one makes room for another.

use crate::service::config::limits::Limits;
use std::collections::BTreeMap;
use std::net::{IpAddr, Ipv6Addr};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::Notify;
use tokio::time::Instant;

/// Why a connection was closed by us before its time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Why {
    /// Another one came, and this one had waited longest.
    MadeRoom,
    /// All others were worked for.
    NoRoom,
    /// It was idle, or the head of its request did not end.
    Idle,
    /// Its request took too long.
    Slow,
    /// It did not read its answer.
    Unread,
}

impl Why {
    /// Every one.
    pub(super) const ALL: [Self; 5] = [
        Self::MadeRoom,
        Self::NoRoom,
        Self::Idle,
        Self::Slow,
        Self::Unread,
    ];

    /// The word of the interface.
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::MadeRoom => "made-room",
            Self::NoRoom => "no-room",
            Self::Idle => "idle",
            Self::Slow => "slow",
            Self::Unread => "unread",
        }
    }
}

/// What a connection is at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum At {
    /// Waits for the head of a request.
    Waiting,
    /// Its request is there, and its body is read.
    Reading,
    /// Its answer is written.
    Answering,
    /// Its request is worked on, or waits for its place.
    Working,
}

/// One connection.
#[derive(Debug)]
pub(super) struct Connection {
    began: Instant,
    /// What it is at, since when.
    at: Mutex<(At, Instant)>,
    /// When its request came.
    asked: Mutex<Instant>,
    /// Since when it takes nothing of its answer.
    stalled: Mutex<Option<Instant>>,
    requests: AtomicU64,
    close: Notify,
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Connection {
    fn new() -> Self {
        let now = Instant::now();
        Self {
            began: now,
            at: Mutex::new((At::Waiting, now)),
            asked: Mutex::new(now),
            stalled: Mutex::new(None),
            requests: AtomicU64::new(0),
            close: Notify::new(),
        }
    }

    fn is(&self, at: At) {
        *locked(&self.at) = (at, Instant::now());
    }

    /// The head of a request has come.
    pub(super) fn asked(&self) {
        self.requests.fetch_add(1, Ordering::Relaxed);
        *locked(&self.asked) = Instant::now();
        self.is(At::Reading);
    }

    /// The request is whole, and is worked on or waits for that.
    pub(super) fn working(&self) {
        self.is(At::Working);
    }

    /// The answer begins.
    pub(super) fn answering(&self) {
        self.is(At::Answering);
    }

    /// Everything that was to be written is written.
    pub(super) fn written(&self) {
        *locked(&self.stalled) = None;
        let mut at = locked(&self.at);
        if at.0 == At::Answering {
            *at = (At::Waiting, Instant::now());
        }
    }

    /// Whether the other side took a part of what is written.
    pub(super) fn took(&self, some: bool) {
        let mut stalled = locked(&self.stalled);
        if some {
            *stalled = None;
        } else if stalled.is_none() {
            *stalled = Some(Instant::now());
        }
    }

    /// Waits until it is to make room.
    pub(super) async fn to_close(&self) {
        self.close.notified().await;
    }

    /// Why it is to be closed now, if it is.
    pub(super) fn overdue(&self, limits: &Limits) -> Option<Why> {
        let stalled = *locked(&self.stalled);
        if stalled.is_some_and(|since| since.elapsed() > limits.idle) {
            return Some(Why::Unread);
        }
        let (at, since) = *locked(&self.at);
        match at {
            At::Waiting => (since.elapsed() > limits.idle).then_some(Why::Idle),
            At::Reading | At::Answering | At::Working => {
                (locked(&self.asked).elapsed() > limits.request).then_some(Why::Slow)
            }
        }
    }

    /// Whether it is to end after the request that runs.
    pub(super) fn is_old(&self, limits: &Limits) -> bool {
        self.began.elapsed() > limits.connection_age
            || self.requests.load(Ordering::Relaxed) >= limits.connection_requests
    }
}

/// All connections of the service.
#[derive(Debug)]
pub(super) struct Connections {
    most: usize,
    of_address: usize,
    open: Mutex<Open>,
}

#[derive(Debug, Default)]
struct Open {
    next: u64,
    all: BTreeMap<u64, (IpAddr, Arc<Connection>)>,
}

/// The place of one connection, given back with the value.
#[derive(Debug)]
pub(super) struct Slot {
    number: u64,
    pub(super) connection: Arc<Connection>,
    connections: Arc<Connections>,
}

impl Drop for Slot {
    fn drop(&mut self) {
        locked(&self.connections.open).all.remove(&self.number);
    }
}

impl Connections {
    pub(super) fn new(limits: &Limits) -> Arc<Self> {
        Arc::new(Self {
            most: limits.connections,
            of_address: limits.connections_per_address,
            open: Mutex::default(),
        })
    }

    /// A place for a connection from an address. Where all are taken, the one that has waited longest without
    /// being worked for is closed; nothing where all are worked for.
    pub(super) fn place(self: &Arc<Self>, address: IpAddr) -> (Option<Slot>, Option<Why>) {
        let address = network(address);
        let mut open = locked(&self.open);
        let of_address = open.all.values().filter(|(of, _)| *of == address).count();
        let made = if of_address >= self.of_address {
            open.make_room(Some(address))
        } else if open.all.len() >= self.most {
            open.make_room(None)
        } else {
            return (Some(self.taken(&mut open, address)), None);
        };
        match made {
            Some(()) => (Some(self.taken(&mut open, address)), Some(Why::MadeRoom)),
            None => (None, Some(Why::NoRoom)),
        }
    }

    fn taken(self: &Arc<Self>, open: &mut Open, address: IpAddr) -> Slot {
        let number = open.next;
        open.next = number.wrapping_add(1);
        let connection = Arc::new(Connection::new());
        open.all.insert(number, (address, Arc::clone(&connection)));
        Slot {
            number,
            connection,
            connections: Arc::clone(self),
        }
    }

    /// Closes the one that has waited longest, because the system has no room for another one.
    pub(super) fn make_room(&self) -> Option<Why> {
        let made = locked(&self.open).make_room(None);
        made.map(|()| Why::MadeRoom)
    }
}

impl Open {
    /// Closes the connection, of an address where one is named, that waits for a head; where none does, one whose
    /// body or answer is on its way; of these the one that has done so longest.
    fn make_room(&mut self, of: Option<IpAddr>) -> Option<()> {
        let may = |address: &IpAddr| of.is_none_or(|of| of == *address);
        let standing = self.all.iter().filter(|(_, (address, _))| may(address));
        let standing = standing.map(|(number, (_, one))| (*locked(&one.at), *number));
        let idle = standing.filter(|((at, _), _)| *at != At::Working);
        let (_, number) = idle.min_by_key(|((at, since), _)| (*at, *since))?;
        let (_, connection) = self.all.remove(&number)?;
        connection.close.notify_one();
        Some(())
    }
}

/// Whose address it is: one network of IPv6 gives its owner 2^64 of them (RFC 6177).
fn network(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V6(address) => {
            let network = u128::from(address) & !u128::from(u64::MAX);
            IpAddr::V6(Ipv6Addr::from(network))
        }
        v4 @ IpAddr::V4(_) => v4,
    }
}

#[cfg(test)]
mod tests {
    use super::{Connections, Slot, Why};
    use crate::service::config::limits::Limits;
    use std::net::IpAddr;
    use std::sync::Arc;
    use std::time::Duration;

    fn limits() -> Limits {
        Limits {
            connections: 4,
            connections_per_address: 2,
            ..Limits::default()
        }
    }

    fn place(all: &Arc<Connections>, address: &str) -> (Slot, Option<Why>) {
        let (place, why) = all.place(address.parse::<IpAddr>().expect("an address"));
        (place.expect("a place"), why)
    }

    fn closes(place: &Slot) -> bool {
        let to_close = place.connection.to_close();
        let mut to_close = std::pin::pin!(to_close);
        let mut context = std::task::Context::from_waker(std::task::Waker::noop());
        to_close.as_mut().poll(&mut context).is_ready()
    }

    #[tokio::test]
    async fn a_newcomer_takes_the_place_of_the_one_that_waited_longest_at_its_own_address_first() {
        tokio::time::pause();
        let all = Connections::new(&limits());
        let later = || tokio::time::advance(Duration::from_secs(1));
        let (other, _) = place(&all, "192.0.2.1");
        later().await;
        let (first, _) = place(&all, "192.0.2.2");
        later().await;
        let (second, none) = place(&all, "192.0.2.2");
        later().await;

        let (_third, why) = place(&all, "192.0.2.2");

        assert_eq!((none, why), (None, Some(Why::MadeRoom)));
        assert!(closes(&first) && !closes(&second) && !closes(&other));
        // A network of IPv6 is one address; all places are taken then, and the oldest goes.
        let (_fourth, _) = place(&all, "2001:db8::1");
        later().await;
        let (_fifth, why) = place(&all, "2001:db8::ffff");
        assert_eq!(why, Some(Why::MadeRoom));
        assert!(closes(&other) && !closes(&second));
    }

    #[tokio::test]
    async fn what_is_worked_for_keeps_its_place_and_a_head_that_is_awaited_goes_before_a_body() {
        let all = Connections::new(&limits());
        let (working, _) = place(&all, "192.0.2.1");
        working.connection.asked();
        working.connection.working();
        let (reading, _) = place(&all, "192.0.2.1");
        reading.connection.asked();
        let (waiting, _) = place(&all, "192.0.2.2");
        let (answering, _) = place(&all, "192.0.2.2");
        answering.connection.asked();
        answering.connection.answering();

        let (other, why) = place(&all, "192.0.2.3");
        assert_eq!(why, Some(Why::MadeRoom));
        assert!(closes(&waiting) && !closes(&reading));
        other.connection.working();
        let (more, _) = place(&all, "192.0.2.4");
        assert!(closes(&reading) && !closes(&answering) && !closes(&working));
        more.connection.working();
        answering.connection.working();

        let (none, why) = all.place("192.0.2.5".parse().expect("an address"));
        assert_eq!((none.is_none(), why), (true, Some(Why::NoRoom)));
        drop(working);
        assert!(all.place("192.0.2.5".parse().expect("one")).0.is_some());
    }

    #[tokio::test]
    async fn each_time_that_a_sender_takes_has_its_end() {
        tokio::time::pause();
        let limits = limits();
        let all = Connections::new(&limits);
        let (place, _) = place(&all, "192.0.2.1");
        let one = &place.connection;
        let wait = |seconds| tokio::time::advance(Duration::from_secs(seconds));

        assert_eq!(one.overdue(&limits), None);
        wait(11).await;
        assert_eq!(one.overdue(&limits), Some(Why::Idle));
        one.asked();
        wait(119).await;
        assert_eq!(one.overdue(&limits), None);
        one.working();
        wait(2).await;
        assert_eq!(one.overdue(&limits), Some(Why::Slow));
        one.asked();
        one.answering();
        one.took(false);
        wait(11).await;
        assert_eq!(one.overdue(&limits), Some(Why::Unread));
        one.took(true);
        assert_eq!(one.overdue(&limits), None);
        one.written();
        wait(11).await;
        assert_eq!(one.overdue(&limits), Some(Why::Idle));
        assert!(!one.is_old(&limits));
        wait(3600).await;
        assert!(one.is_old(&limits));
    }
}
