//! Places for work: what a request makes us do runs on threads of its own, so many at a time, and so many wait.
//!
//! The threads that answer connections only wait for bytes; what depends on foreign bytes is done here, so that
//! health answers and the service ends whatever was sent.

use crate::service::config::limits::Limits;
use std::future::Future;
use std::sync::Arc;
use std::time::Duration;
use tokio::runtime::Handle;
use tokio::sync::{OwnedSemaphorePermit, Semaphore, watch};
use tokio::task::spawn_blocking;

/// A body of more bytes than these is large: such wait for each other, so that nobody else waits for them. A
/// session with every measure has a third of it.
const LARGE: usize = 1024 * 1024;
/// Large bodies that wait while one is worked on.
const LARGE_WAITING: usize = 7;
/// How long a request waits for its place.
const WAIT: Duration = Duration::from_secs(20);

/// Why something was not worked on, or not to its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum NoWork {
    /// Every place is taken, and so many wait already; or it waited too long.
    Full,
    /// The service ends.
    Ends,
    /// A fault of the program.
    Fault,
}

/// All places.
#[derive(Debug, Clone)]
pub(super) struct Work {
    usual: Lane,
    large: Lane,
    cut: watch::Receiver<bool>,
}

#[derive(Debug, Clone)]
struct Lane {
    places: Arc<Semaphore>,
    waiting: Arc<Semaphore>,
}

impl Work {
    /// As many places as the limits say; what still runs when the receiver says so is cut off where it waits.
    pub(super) fn new(limits: &Limits, cut: watch::Receiver<bool>) -> Self {
        Self {
            usual: Lane::new(limits.work, limits.waiting),
            large: Lane::new(1, LARGE_WAITING),
            cut,
        }
    }

    /// Does what came with a body of so many bytes, on a thread of its own.
    pub(super) async fn run<T, F>(&self, bytes: usize, work: F) -> Result<T, NoWork>
    where
        T: Send + 'static,
        F: Future<Output = T> + Send + 'static,
    {
        let lane = if bytes > LARGE {
            &self.large
        } else {
            &self.usual
        };
        let place = lane.place().await?;
        let (handle, mut cut) = (Handle::current(), self.cut.clone());
        let done = spawn_blocking(move || {
            let done = handle.block_on(async move {
                tokio::select! {
                    biased;
                    done = work => Ok(done),
                    () = cut_off(&mut cut) => Err(NoWork::Ends),
                }
            });
            drop(place);
            done
        });
        done.await.unwrap_or(Err(NoWork::Fault))
    }
}

/// Waits until somebody says so; nobody can any more where the sender is gone.
async fn cut_off(cut: &mut watch::Receiver<bool>) {
    if cut.wait_for(|cut| *cut).await.is_err() {
        std::future::pending::<()>().await;
    }
}

impl Lane {
    fn new(places: usize, waiting: usize) -> Self {
        Self {
            places: Arc::new(Semaphore::new(places)),
            waiting: Arc::new(Semaphore::new(waiting)),
        }
    }

    async fn place(&self) -> Result<OwnedSemaphorePermit, NoWork> {
        if let Ok(place) = Arc::clone(&self.places).try_acquire_owned() {
            return Ok(place);
        }
        let Ok(_waiting) = self.waiting.try_acquire() else {
            return Err(NoWork::Full);
        };
        let place = Arc::clone(&self.places).acquire_owned();
        match tokio::time::timeout(WAIT, place).await {
            Ok(Ok(place)) => Ok(place),
            Ok(Err(_closed)) => Err(NoWork::Ends),
            Err(_elapsed) => Err(NoWork::Full),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{LARGE, NoWork, Work};
    use crate::service::config::limits::Limits;
    use tokio::sync::{oneshot, watch};

    fn work() -> (Work, watch::Sender<bool>) {
        let (cut, cuts) = watch::channel(false);
        let limits = Limits {
            work: 1,
            waiting: 1,
            ..Limits::default()
        };
        (Work::new(&limits, cuts), cut)
    }

    #[tokio::test]
    async fn one_works_one_waits_one_more_is_turned_away_and_a_large_one_has_its_own_place() {
        let (work, _cut) = work();
        let (begun, is_begun) = oneshot::channel();
        let (go_on, goes_on) = oneshot::channel::<()>();
        let first = work.clone();
        let first = tokio::spawn(async move {
            let holding = async move {
                begun.send(()).expect("somebody looks");
                goes_on.await.expect("told");
            };
            first.run(10, holding).await
        });
        is_begun.await.expect("begun");
        let second = work.clone();
        let second = tokio::spawn(async move { second.run(10, async { 2 }).await });
        while work.usual.waiting.available_permits() > 0 {
            tokio::task::yield_now().await;
        }

        let third = work.run(10, async { 3 }).await;
        let large = work.run(LARGE + 1, async { 4 }).await;
        go_on.send(()).expect("it waits");

        assert_eq!(third, Err(NoWork::Full));
        assert_eq!(large, Ok(4));
        assert_eq!(first.await.expect("done"), Ok(()));
        assert_eq!(second.await.expect("done"), Ok(2));
        assert_eq!(work.run(10, async { 5 }).await, Ok(5));
    }

    #[tokio::test]
    async fn what_waits_for_something_is_cut_off_when_the_service_ends() {
        let (work, cut) = work();
        let never = tokio::spawn({
            let work = work.clone();
            async move { work.run(10, std::future::pending::<()>()).await }
        });
        while work.usual.places.available_permits() > 0 {
            tokio::task::yield_now().await;
        }

        cut.send_replace(true);

        assert_eq!(never.await.expect("done"), Err(NoWork::Ends));
    }

    #[tokio::test]
    async fn a_fault_of_the_work_gives_its_place_back() {
        let (work, _cut) = work();

        let fault = work
            .run(10, async { assert_eq!(1, 2, "a fault of this test") })
            .await;

        assert_eq!(fault, Err(NoWork::Fault));
        assert_eq!(work.run(10, async { 1 }).await, Ok(1));
    }
}
