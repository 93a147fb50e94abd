//! Whether the service can take documents: looked at once for all who ask at the same time.

use std::future::Future;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;
use tokio::sync::Mutex;

/// How long a look may take: whoever asks has to know soon.
const WITHIN: Duration = Duration::from_secs(5);

/// The kept rows that do not read, by name, or why no document can be taken.
pub(super) type Look = Result<Vec<String>, &'static str>;

/// What was seen at the last look, and the number of that look.
#[derive(Debug, Default)]
pub(in crate::service::web) struct Readiness {
    begun: AtomicU64,
    last: Mutex<Option<(u64, Look)>>,
}

impl Readiness {
    /// What a look tells that began after this was asked.
    pub(super) async fn seen(&self, look: impl Future<Output = Look> + Send) -> Look {
        let before = self.begun.load(Ordering::SeqCst);
        let mut last = self.last.lock().await;
        if let Some((number, seen)) = last.as_ref()
            && *number > before
        {
            return seen.clone();
        }
        let number = self.begun.fetch_add(1, Ordering::SeqCst).wrapping_add(1);
        let seen = tokio::time::timeout(WITHIN, look).await;
        let seen = seen.unwrap_or(Err("the store does not answer in time"));
        *last = Some((number, seen.clone()));
        seen
    }
}

#[cfg(test)]
mod tests {
    use super::Readiness;
    use std::sync::Arc;
    use std::sync::atomic::{AtomicU32, Ordering};
    use tokio::sync::Semaphore;

    #[tokio::test]
    async fn many_who_ask_during_a_look_share_the_next_one() {
        let readiness = Arc::new(Readiness::default());
        let looks = Arc::new(AtomicU32::new(0));
        let leave = Arc::new(Semaphore::new(0));
        let ask = || {
            let (readiness, looks) = (Arc::clone(&readiness), Arc::clone(&looks));
            let leave = Arc::clone(&leave);
            tokio::spawn(async move {
                let look = async {
                    looks.fetch_add(1, Ordering::SeqCst);
                    leave.acquire().await.expect("open").forget();
                    Ok(Vec::new())
                };
                readiness.seen(look).await
            })
        };
        let first = ask();
        while looks.load(Ordering::SeqCst) == 0 {
            tokio::task::yield_now().await;
        }
        let others: Vec<_> = (0..20).map(|_| ask()).collect();
        for _ in 0..20 {
            tokio::task::yield_now().await;
        }

        leave.add_permits(2);
        assert_eq!(first.await.expect("done"), Ok(Vec::new()));
        for other in others {
            assert_eq!(other.await.expect("done"), Ok(Vec::new()));
        }

        assert_eq!(looks.load(Ordering::SeqCst), 2);
    }

    #[tokio::test]
    async fn a_store_that_never_answers_is_told_in_time() {
        tokio::time::pause();
        let readiness = Readiness::default();

        let seen = readiness.seen(std::future::pending()).await;

        assert_eq!(seen, Err("the store does not answer in time"));
    }
}
