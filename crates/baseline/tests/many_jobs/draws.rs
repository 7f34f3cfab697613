//! Random whole systems as texts.

/// The splitmix64 generator: Steele, Lea and Flood 2014, constants from memory.
pub struct Draws(pub u64);

impl Draws {
    pub fn within(&mut self, low: u64, high: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        low + (mixed ^ (mixed >> 31)) % (high - low + 1)
    }

    fn pick<'a>(&mut self, choices: &[&'a str]) -> &'a str {
        choices[self.within(0, choices.len() as u64 - 1) as usize]
    }
}

const FRAME_US: u64 = 20_000;
const NAMES: [&str; 6] = ["A", "B", "C", "D", "E", "F"];

/// A system and its plan: two cores with windows, one with servers, shares or a single guest; two partitions on each of the
/// first two; three or four tasks in each; a ring of sampling ports and one of queues through all partitions, and chains on both.
pub fn system(draws: &mut Draws) -> (String, String) {
    let third = draws.within(0, 2);
    let count = if third == 2 { 5 } else { 6 };
    let mut text = head(draws, third);
    let mut plan = "[plan]\n".to_owned();
    for core in 0..2 {
        plan += &windows(draws, core, [NAMES[2 * core], NAMES[2 * core + 1]]);
    }
    for (index, name) in NAMES[..count].iter().enumerate() {
        text += &partition(draws, name, index / 2, third);
    }
    for index in 0..count {
        text += &channels(draws, index, NAMES[index], NAMES[(index + 1) % count]);
    }
    (text + &chains(draws, count), plan)
}

fn head(draws: &mut Draws, third: u64) -> String {
    let third =
        ["policy = \"budget server\"", "policy = \"proportional share\"\nquantum = \"1 ms\"", "policy = \"dedicated\""]
            [third as usize];
    let phase = draws.pick(&["any phase", "frame phase"]);
    let synchronised = draws.within(0, 3) > 0;
    let (jitter, blocking) = (draws.pick(&["0 ns", "100 us"]), draws.pick(&["0 ns", "60 us"]));
    let slip = draws.pick(&["0 ns", "0 ns", "30 us"]);
    format!(
        "[system]\nname = \"drawn\"\nframe = \"{FRAME_US} us\"\ndeadlines_hold_in = \"{phase}\"\n[board]\nname = \"board\"\n\
         [[board.core]]\nname = \"0\"\n[[board.core]]\nname = \"1\"\n[[board.core]]\nname = \"2\"\n\
         [platform]\nswitch = \"10 us\"\nrefill = \"20 us\"\ncontext_switch = \"4 us\"\nrelease_jitter = \"{jitter}\"\n\
         nonpreemptable = \"{blocking}\"\nboundary_slip = \"{slip}\"\n\
         [[core_set]]\nname = \"first\"\ncores = [\"0\"]\npolicy = \"window table\"\n\
         [[core_set]]\nname = \"second\"\ncores = [\"1\"]\npolicy = \"window table\"\nsynchronised = {synchronised}\n\
         [[core_set]]\nname = \"third\"\ncores = [\"2\"]\n{third}\n"
    )
}

/// Up to four windows in a row, in turn for the two partitions, each of them with one at least.
fn windows(draws: &mut Draws, core: usize, names: [&str; 2]) -> String {
    let each = FRAME_US / (2 * draws.within(1, 2));
    let mut text = String::new();
    for (slot, start) in (0..FRAME_US / each).map(|slot| slot * each).enumerate() {
        let (from, length) = (start + draws.within(0, each / 8), draws.within(each / 2, each * 7 / 8));
        text += &format!(
            "[[window]]\ncore = \"{core}\"\npartition = \"{}\"\nstart = \"{from} us\"\nlength = \"{length} us\"\n",
            names[slot % 2]
        );
    }
    text
}

fn partition(draws: &mut Draws, name: &str, core: usize, third: u64) -> String {
    let guest = draws.pick(&["fixed priority", "fixed priority", "EDF", "cooperative"]);
    let keys = match (core, third) {
        (2, 0) => "core_set = \"third\"\n[partition.server]\nbudget = \"2 ms\"\nperiod = \"5 ms\"".to_owned(),
        (2, 1) => format!("core_set = \"third\"\n[partition.share]\nshare = {}", draws.within(1, 3)),
        (2, _) => "core_set = \"third\"".to_owned(),
        _ => format!("period = \"{FRAME_US} us\"\ncores = [\"{core}\"]"),
    };
    let mut text = format!("[[partition]]\nname = \"{name}\"\nguest = \"{guest}\"\n{keys}\n");
    for (at, task) in ["hi", "lo", "x"].iter().enumerate() {
        text += &self::task(draws, task, 3 - at as u64, guest == "EDF");
    }
    text
}

fn task(draws: &mut Draws, name: &str, priority: u64, by_deadline: bool) -> String {
    let period = [5_000, 10_000, 20_000, 40_000][draws.within(0, 3) as usize];
    let wcet = draws.within(period / 50, period / 9);
    let bcet = draws.within(wcet / 2, wcet);
    let release = match draws.within(0, 2) {
        0 => "release = \"free-running\"".to_owned(),
        _ => format!("release = \"frame-aligned\"\noffset = \"{} us\"", draws.within(0, 3) * 1_000),
    };
    let exchange = if draws.within(0, 4) == 0 { "exchange = \"logical\"\n" } else { "" };
    let priority = if by_deadline { String::new() } else { format!("priority = {priority}\n") };
    format!(
        "[[partition.task]]\nname = \"{name}\"\nperiod = \"{period} us\"\n{priority}wcet = \"{wcet} us\"\n\
         bcet = \"{bcet} us\"\nline_requests = 0\noutput_jitter = \"1 s\"\n{exchange}{release}\n"
    )
}

fn channels(draws: &mut Draws, index: usize, from: &str, to: &str) -> String {
    let read = draws.pick(&["", "", "read = 9\n"]);
    format!(
        "[[channel]]\nname = \"S{index}\"\nkind = \"sampling\"\nsize = \"8 B\"\nfrom = \"{from}.lo\"\nto = [\"{to}.hi\"]\n\
         refresh = \"1 s\"\n\
         [[channel]]\nname = \"Q{index}\"\nkind = \"queuing\"\nsize = \"8 B\"\nfrom = \"{from}.hi\"\nto = [\"{to}.lo\"]\n\
         depth = 1000\n{read}"
    )
}

fn chains(draws: &mut Draws, count: usize) -> String {
    let first = draws.within(0, count as u64 - 1) as usize;
    let (a, b) = (NAMES[first], NAMES[(first + 1) % count]);
    let need = draws.pick(&["reaction", "data_age"]);
    format!(
        "[[chain]]\nname = \"long\"\npath = [\"{a}.hi\", \"{a}.lo\", \"{b}.hi\", \"{b}.lo\"]\n{need} = \"10 s\"\n\
         [[chain]]\nname = \"queued\"\npath = [\"{a}.hi\", \"{b}.lo\"]\nreaction = \"10 s\"\n"
    )
}
