//! Many small files read by all cores.

/// Fewer are read at once by the thread that asks.
const WORTH_IT: usize = 64;
/// More threads than this only wait for the disk.
const THREADS: usize = 8;

/// Does the work for each item and gives what came of it in the items' order.
pub(super) fn each<A: Sync, T: Send>(items: &[A], work: impl Fn(&A) -> T + Sync) -> Vec<T> {
    let threads = std::thread::available_parallelism().map_or(1, std::num::NonZero::get).min(THREADS);
    if items.len() < WORTH_IT || threads < 2 {
        return items.iter().map(work).collect();
    }
    let work = &work;
    std::thread::scope(|scope| {
        let parts: Vec<_> = items
            .chunks(items.len().div_ceil(threads))
            .map(|part| scope.spawn(move || part.iter().map(work).collect::<Vec<T>>()))
            .collect();
        let mut all = Vec::with_capacity(items.len());
        for part in parts {
            match part.join() {
                Ok(part) => all.extend(part),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        all
    })
}

#[cfg(test)]
mod tests {
    #[test]
    fn many_come_in_the_order_of_few() {
        for count in [0_usize, 1, 63, 64, 65, 1_000] {
            let items: Vec<usize> = (0..count).collect();
            let doubled: Vec<usize> = items.iter().map(|item| item * 2).collect();
            assert_eq!(super::each(&items, |item| item * 2), doubled);
        }
    }
}
