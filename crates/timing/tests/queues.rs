//! Queues and forwarders against runs of their own: a writer, a reader and a queue; senders, a forwarder and their
//! frames. No run passes a bound, and where the worst one is plain it attains it.

use proptest::prelude::*;
use std::collections::VecDeque;
use std::num::NonZeroU64;
use timing::network_calculus::fluid::whole;
use timing::network_calculus::{Arrivals, Flow, Forwarder, NoDelay, Reads, Service};
use timing::supply::{Interval, Supply};

fn above_zero(value: u64) -> NonZeroU64 {
    NonZeroU64::new(value).expect("drawn above zero")
}

/// The splitmix64 generator: Steele, Lea and Flood 2014, constants from memory.
struct Draws(u64);

impl Draws {
    fn up_to(&mut self, most: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        (mixed ^ (mixed >> 31)) % (most + 1)
    }

    /// Instants one distance apart from any phase on, each up to `late` later, in order.
    fn instants(&mut self, distance: u64, late: u64, until: u64) -> Vec<u64> {
        let mut last = 0;
        let mut at = self.up_to(distance - 1);
        let mut instants = Vec::new();
        while at < until {
            last = last.max(at + self.up_to(late));
            instants.push(last);
            at += distance;
        }
        instants
    }
}

fn arrivals() -> impl Strategy<Value = Arrivals> {
    (1..4u64, 0..3u64, 1..13u64, 0..30u64).prop_map(|(batch, burst, distance, jitter_ns)| Arrivals {
        batch,
        burst,
        distance_ns: above_zero(distance),
        jitter_ns,
    })
}

fn reads() -> impl Strategy<Value = Reads> {
    (prop::option::of(1..7u64), 1..13u64, 0..20u64).prop_map(|(most, period, lateness_ns)| Reads {
        most: most.map(above_zero),
        period_ns: above_zero(period),
        lateness_ns,
    })
}

/// The most messages in the queue and the longest wait: messages written at `writes`, reads at `reads`.
fn run(writes: &[u64], reads: &[u64], most: Option<NonZeroU64>) -> (u64, u64) {
    let (mut queue, mut deepest, mut longest) = (VecDeque::new(), 0, 0);
    let mut writes = writes.iter().copied().peekable();
    for &read in reads {
        while let Some(write) = writes.next_if(|&write| write <= read) {
            queue.push_back(write);
        }
        deepest = deepest.max(queue.len() as u64);
        let taken = most.map_or(queue.len(), |most| queue.len().min(most.get() as usize));
        longest = queue.drain(..taken).map(|write| read - write).fold(longest, u64::max);
    }
    (deepest, longest)
}

/// Every instant of writing so many times, and the burst at one of them.
fn messages(instants: &[u64], arrivals: &Arrivals, burst_at: usize) -> Vec<u64> {
    let of = |(k, &at): (usize, &u64)| {
        let burst = if k == burst_at { arrivals.burst } else { 0 };
        std::iter::repeat_n(at, (arrivals.batch + burst) as usize)
    };
    instants.iter().enumerate().flat_map(of).collect()
}

/// By hand: usable are the first 10 and the last 5 of each 100, and the first frame lacks its first 5. Work of 6 that waits
/// from 10 on has had 5 at 100 and is done at 101, 91 later; work that waits at the very begin has had 5 at 10 and is done
/// at 96.
#[test]
fn a_forwarding_partition_lacks_at_boot_what_its_first_frame_lacks() {
    let windows = [Interval { start_ns: 0, end_ns: 10 }, Interval { start_ns: 95, end_ns: 100 }];
    let supply = Supply::new(100, &windows).expect("a table");
    let arrivals = Arrivals { batch: 1, burst: 0, distance_ns: above_zero(1000), jitter_ns: 0 };
    let delay_ns = |supply: &Supply| {
        let flows = vec![Flow { sender: 0, arrivals, frames: 1, cost_ns: 6 }];
        Forwarder { service: Service::Supply(supply), flows }.delay_ns(0, 0)
    };
    assert_eq!(delay_ns(&supply), Ok(91));
    assert_eq!(delay_ns(&supply.with_boot_until(5)), Ok(96));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_run_of_a_queue_passes_its_bounds(arrivals in arrivals(), reads in reads(), seed: u64) {
        let mut draws = Draws(seed);
        let instants = draws.instants(arrivals.distance_ns.get(), arrivals.jitter_ns, 400);
        let burst_at = draws.up_to(instants.len() as u64) as usize;
        let read_at = draws.instants(reads.period_ns.get(), reads.lateness_ns, 500);
        let (deepest, longest) = run(&messages(&instants, &arrivals, burst_at), &read_at, reads.most);
        if let Some(depth) = reads.depth(&arrivals) {
            prop_assert!(deepest <= depth, "{deepest} messages, bound {depth}");
            prop_assert!(reads.overflow_ns(&arrivals, depth).is_none(), "a queue of the depth needed is never full");
            let waiting_ns = reads.waiting_ns(&arrivals).expect("bounded alike");
            prop_assert!(longest <= waiting_ns, "waited {longest}, bound {waiting_ns}");
        }
    }

    #[test]
    fn no_read_finds_a_message_older_than_the_gap(period in 1..20u64, late in 0..40u64, seed: u64) {
        let mut draws = Draws(seed);
        let writes = draws.instants(period, late, 300);
        // Writes come before reads at one instant, and the first write is there.
        let age = |read: u64| read - writes.iter().rev().find(|&&write| write <= read).expect("after the first");
        let last = writes[writes.len() - 1];
        prop_assert!((writes[0]..last).all(|read| age(read) < period + late));
    }

    #[test]
    fn the_depth_is_attained(arrivals in arrivals(), reads in reads()) {
        // A read at 0 finds the queue empty; then everything comes as early and is read as late as can be.
        let early = |k: u64| (k * arrivals.distance_ns.get() + 1).saturating_sub(arrivals.jitter_ns).max(1);
        let instants: Vec<u64> = (0..2_000).map(early).collect();
        let rounds = arrivals.distance_ns.get() + 1;
        let late: Vec<u64> = (1..=rounds).map(|m| m * reads.period_ns.get() + reads.lateness_ns).collect();
        let Some(depth) = reads.depth(&arrivals) else { return Ok(()) };
        prop_assert_eq!(run(&messages(&instants, &arrivals, 0), &late, reads.most).0, depth);
        let soonest_ns = reads.overflow_ns(&arrivals, depth - 1);
        prop_assert!(soonest_ns.is_some_and(|at_ns| at_ns <= rounds * reads.period_ns.get() + reads.lateness_ns));
    }

    #[test]
    fn a_queue_grows_with_its_load_and_scales_with_time(arrivals in arrivals(), reads in reads(), factor in 2..5u64) {
        let before = reads.depth(&arrivals);
        let more = |changed: Option<u64>| before.is_none_or(|before| changed.is_none_or(|after| after >= before));
        let larger = Arrivals { batch: arrivals.batch + 1, ..arrivals };
        let later = Reads { lateness_ns: reads.lateness_ns + 2, ..reads };
        prop_assert!(more(reads.depth(&larger)) && more(reads.depth(&arrivals.delayed(3))));
        prop_assert!(more(later.depth(&arrivals)));
        let slower = Arrivals {
            distance_ns: above_zero(arrivals.distance_ns.get() * factor),
            jitter_ns: arrivals.jitter_ns * factor,
            ..arrivals
        };
        let reads_slower = Reads {
            period_ns: above_zero(reads.period_ns.get() * factor),
            lateness_ns: reads.lateness_ns * factor,
            ..reads
        };
        prop_assert_eq!(reads_slower.depth(&slower), before);
        prop_assert_eq!(reads_slower.waiting_ns(&slower), reads.waiting_ns(&arrivals).map(|wait| wait * factor));
    }
}

#[test]
fn boundaries_of_a_queue() {
    let arrivals = Arrivals { batch: 1, burst: 0, distance_ns: above_zero(10), jitter_ns: 0 };
    let reads = |most, period, lateness_ns| Reads { most, period_ns: above_zero(period), lateness_ns };
    // Worked by hand: a write at the instant of a read is read by it, so a gap of 20 holds the writes at 10 and 20.
    assert_eq!(reads(None, 20, 0).depth(&arrivals), Some(2));
    assert_eq!(reads(None, 20, 1).depth(&arrivals), Some(3));
    assert_eq!(reads(Some(above_zero(1)), 10, 0).depth(&arrivals), Some(1));
    assert_eq!(reads(Some(above_zero(1)), 11, 0).depth(&arrivals), None, "ten percent too slow");
    // Ten reads at 11, 22, … 110 after the first message leave two of those of 0, 10, … 110 when that of 120 comes.
    assert_eq!(reads(Some(above_zero(1)), 11, 0).overflow_ns(&arrivals, 2), Some(120));
    assert_eq!(arrivals.within(0), 0);
    assert_eq!(arrivals.soonest_ns(3), Some(20));
    let none_after_the_burst = Arrivals { batch: 0, burst: 2, ..arrivals };
    assert_eq!(none_after_the_burst.soonest_ns(2), Some(0));
    assert_eq!(none_after_the_burst.soonest_ns(3), None);
}

#[test]
fn extreme_queues_are_answered_by_the_envelope() {
    let distance_ns = above_zero((1 << 53) - 1);
    let arrivals = Arrivals { batch: 1_000_003, burst: 7, distance_ns, jitter_ns: 1 << 50 };
    let most = Some(above_zero(1_000_004));
    let reads = Reads { most, period_ns: distance_ns, lateness_ns: 1 << 52 };
    let depth = reads.depth(&arrivals).expect("read faster than written");
    assert!((2 * 1_000_003..4 * 1_000_003).contains(&depth), "{depth}");
    assert!(reads.waiting_ns(&arrivals).is_some_and(|wait| wait > 1 << 53));
    let largest = Arrivals { batch: u64::MAX, burst: u64::MAX, distance_ns: above_zero(1), jitter_ns: u64::MAX };
    let slowest = Reads { most: Some(above_zero(u64::MAX)), period_ns: above_zero(1), lateness_ns: u64::MAX };
    assert_eq!(slowest.depth(&largest), Some(u64::MAX), "saturated");
    assert_eq!(Reads { most: None, ..slowest }.depth(&largest), Some(u64::MAX));
    assert!(slowest.waiting_ns(&largest).is_some());
}

/// Frames of one sender: when each comes, and its cost.
type Frames = Vec<(u64, u64)>;

fn flows() -> impl Strategy<Value = Vec<Flow>> {
    let flow = (0..3usize, 1..3u64, 0..2u64, 20..60u64, 0..40u64, 1..3u64, 1..6u64);
    let flow = flow.prop_map(|(sender, batch, burst, distance, jitter_ns, frames, cost_ns)| Flow {
        sender,
        arrivals: Arrivals { batch, burst, distance_ns: above_zero(distance), jitter_ns },
        frames,
        cost_ns,
    });
    prop::collection::vec(flow, 1..4)
}

/// Frames by sender, in order of their coming; the last frame of each message says of which flow it is.
fn senders(flows: &[Flow], draws: &mut Draws) -> Vec<Vec<(u64, u64)>> {
    let mut senders: Vec<Frames> = vec![Vec::new(); 3];
    for flow in flows {
        let instants = draws.instants(flow.arrivals.distance_ns.get(), flow.arrivals.jitter_ns, 600);
        let burst_at = draws.up_to(instants.len() as u64) as usize;
        for at in messages(&instants, &flow.arrivals, burst_at) {
            senders[flow.sender].extend(std::iter::repeat_n((at, flow.cost_ns), flow.frames as usize));
        }
    }
    senders.iter_mut().for_each(|frames| frames.sort_by_key(|frame| frame.0));
    senders
}

/// The queues of a forwarder as time passes, and what was seen of each sender.
struct Queues {
    waiting: Vec<VecDeque<(u64, u64)>>,
    to_come: Vec<VecDeque<(u64, u64)>>,
    deepest: Vec<u64>,
    longest: Vec<u64>,
}

impl Queues {
    fn of(senders: Vec<Frames>) -> Self {
        let none = vec![0; senders.len()];
        let to_come: Vec<VecDeque<_>> = senders.into_iter().map(VecDeque::from).collect();
        Self { waiting: vec![VecDeque::new(); to_come.len()], to_come, deepest: none.clone(), longest: none }
    }

    fn come_until(&mut self, now: u64) {
        for k in 0..self.waiting.len() {
            while self.to_come[k].front().is_some_and(|frame| frame.0 <= now) {
                self.waiting[k].extend(self.to_come[k].pop_front());
            }
            self.deepest[k] = self.deepest[k].max(self.waiting[k].len() as u64);
        }
    }

    /// Some sender with a frame that waits and that `may_go`.
    fn any(&self, draws: &mut Draws, may_go: impl Fn(&(u64, u64)) -> bool) -> Option<usize> {
        let goes = |&k: &usize| self.waiting[k].front().is_some_and(&may_go);
        let waiting: Vec<usize> = (0..self.waiting.len()).filter(goes).collect();
        (!waiting.is_empty()).then(|| waiting[draws.up_to(waiting.len() as u64 - 1) as usize])
    }

    fn is_done(&self) -> bool {
        self.waiting.iter().chain(&self.to_come).all(VecDeque::is_empty)
    }

    /// The frame at the head of a queue has gone.
    fn leave(&mut self, sender: usize, now: u64) {
        self.come_until(now);
        let (came, _) = self.waiting[sender].pop_front().expect("it waits");
        self.longest[sender] = self.longest[sender].max(now - came);
    }
}

/// Jobs that begin some time after their arrivals and move frames that fit into what is left of their budgets. Some runs
/// take only what waits when a job begins.
fn run_jobs(queues: &mut Queues, period: u64, response: u64, budget: u64, draws: &mut Draws) {
    let mut arrival = draws.up_to(period - 1);
    let mut now: u64 = 0;
    let takes_later_ones = draws.up_to(1) == 1;
    while !queues.is_done() {
        now = now.max(arrival + draws.up_to(response - budget));
        let began = now;
        let mut left = budget;
        queues.come_until(now);
        while let Some(sender) = queues.any(draws, |frame| takes_later_ones || frame.0 <= began) {
            let cost = queues.waiting[sender][0].1;
            if cost > left {
                break;
            }
            (left, now) = (left - cost, now + cost);
            queues.leave(sender, now);
        }
        arrival += period;
    }
}

/// A partition that moves frames whenever it has windows and frames wait.
fn run_windows(queues: &mut Queues, supply: &Supply, phase: u64, draws: &mut Draws) {
    let mut now = 0;
    while !queues.is_done() {
        queues.come_until(now);
        match queues.any(draws, |_| true) {
            None => now += 1,
            Some(sender) => {
                let cost = queues.waiting[sender][0].1;
                now += supply.span_for_ns(phase + now, cost).expect("the table has windows");
                queues.leave(sender, now);
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_run_of_a_forwarding_task_passes_its_bounds(
        flows in flows(), period in 5..30u64, budget in 6..20u64, slack in 0..15u64, seed: u64,
    ) {
        // A job is done before the next one comes.
        let (budget, response) = (budget.min(period), (budget + slack).min(period));
        let costs = flows.iter().map(|flow| flow.cost_ns);
        let Some(service) = Service::of_jobs(above_zero(period), response, budget, costs) else { return Ok(()) };
        let mut draws = Draws(seed);
        let mut queues = Queues::of(senders(&flows, &mut draws));
        let forwarder = Forwarder { service, flows };
        let overloaded = forwarder.load().is_none_or(|load| load > whole(1));
        if !overloaded {
            run_jobs(&mut queues, period, response, budget, &mut draws);
            within_bounds(&forwarder, &queues)?;
        }
    }

    #[test]
    fn no_run_of_a_forwarding_partition_passes_its_bounds(
        flows in flows(), windows in prop::collection::btree_set(0..=40u64, 2..9), phase in 0..40u64, seed: u64,
    ) {
        let cuts: Vec<u64> = windows.into_iter().collect();
        let windows: Vec<_> = cuts.chunks_exact(2).map(|w| Interval { start_ns: w[0], end_ns: w[1] }).collect();
        let supply = Supply::new(40, &windows).expect("a table");
        let mut draws = Draws(seed);
        let mut queues = Queues::of(senders(&flows, &mut draws));
        let forwarder = Forwarder { service: Service::Supply(&supply), flows };
        if forwarder.load().is_some_and(|load| load <= whole(1)) {
            run_windows(&mut queues, &supply, phase, &mut draws);
            within_bounds(&forwarder, &queues)?;
        }
    }

    #[test]
    fn a_forwarder_slows_down_with_its_load_and_scales_with_time(flows in flows(), factor in 2..5u64) {
        let forwarder = |flows: &[Flow], factor: u64| {
            let costs = flows.iter().map(|flow| flow.cost_ns);
            let service = Service::of_jobs(above_zero(20 * factor), 15 * factor, 10 * factor, costs).expect("they fit");
            Forwarder { service, flows: flows.to_vec() }
        };
        let Ok(before) = forwarder(&flows, 1).delay_ns(0, flows[0].frames - 1) else { return Ok(()) };
        let mut more = flows.clone();
        more.push(Flow { sender: 7, ..flows[0] });
        let delayed = forwarder(&more, 1).delay_ns(0, flows[0].frames - 1);
        prop_assert!(delayed.is_ok_and(|after| after >= before) || delayed.is_err());
        let first = forwarder(&flows, 1).delay_ns(0, 0);
        prop_assert!(first.is_ok_and(|first| first <= before), "the first receiver is served first");
        let slower: Vec<Flow> = flows.iter().map(|flow| Flow {
            cost_ns: flow.cost_ns * factor,
            arrivals: Arrivals {
                distance_ns: above_zero(flow.arrivals.distance_ns.get() * factor),
                jitter_ns: flow.arrivals.jitter_ns * factor,
                ..flow.arrivals
            },
            ..*flow
        }).collect();
        prop_assert_eq!(forwarder(&slower, factor).delay_ns(0, flows[0].frames - 1), Ok(before * factor));
    }
}

fn within_bounds(forwarder: &Forwarder<'_>, queues: &Queues) -> Result<(), TestCaseError> {
    for (k, flow) in forwarder.flows.iter().enumerate() {
        let Ok(delay_ns) = forwarder.delay_ns(k, flow.frames - 1) else { continue };
        let depth = forwarder.depth(flow.sender).expect("bounded alike");
        prop_assert!(queues.longest[flow.sender] <= delay_ns, "{} over {delay_ns}", queues.longest[flow.sender]);
        prop_assert!(queues.deepest[flow.sender] <= depth, "{} over {depth}", queues.deepest[flow.sender]);
    }
    Ok(())
}

#[test]
fn boundaries_of_a_forwarder() {
    let flow = |sender, distance| Flow {
        sender,
        arrivals: Arrivals { batch: 1, burst: 0, distance_ns: above_zero(distance), jitter_ns: 0 },
        frames: 2,
        cost_ns: 6,
    };
    let of = |budget_ns| Service::of_jobs(above_zero(50), 30, budget_ns, [6, 6].into_iter());
    assert!(of(5).is_none(), "a frame of 6 never fits into a job of 5");
    let forwarder = |flows| Forwarder { service: of(12).expect("they fit"), flows };
    // Worked by hand: four frames of 6 in a window, two a job of 12, so the last leaves with the second job.
    let half_full = forwarder(vec![flow(0, 200), flow(1, 200)]);
    assert_eq!(half_full.delay_ns(0, 1), Ok(2 * 50 + 30));
    assert_eq!(half_full.depth(0), Ok(2), "a second message comes only after the first one's frames are through");
    let exactly_full = forwarder(vec![flow(0, 100), flow(1, 100)]);
    assert_eq!(exactly_full.load(), Some(whole(1)));
    assert_eq!(exactly_full.delay_ns(0, 1), Err(NoDelay::GaveUp), "frames wait without end");
    let over = forwarder(vec![flow(0, 100), flow(1, 99)]);
    assert_eq!(over.delay_ns(0, 0), Err(NoDelay::Outrun));
}
