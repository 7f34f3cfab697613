//! Queues between two tasks of small boards: cases worked out by hand and closed forms.

use testkit::oracle::backlog::{Backlog, SmallQueue, worst_backlog};
use testkit::oracle::board::{BoardTask, SmallBoard, SmallPartition, Start, Unanswered};
use testkit::oracle::{Policy, SmallTask};

fn task(partition: usize, period: u32, wcet: u32) -> BoardTask {
    let task = SmallTask { period, deadline: period, wcet, bcet: wcet, ..SmallTask::default() };
    BoardTask { partition, task, ..BoardTask::default() }
}

fn queue(frame: u32, windows: &[&[(u32, u32)]], tasks: &[BoardTask], at_most: Option<u32>) -> SmallQueue {
    let partition = |windows: &&[(u32, u32)]| SmallPartition { windows: windows.to_vec(), ..SmallPartition::default() };
    let partitions = windows.iter().map(partition).collect();
    let board = SmallBoard { frame, partitions, tasks: tasks.to_vec() };
    SmallQueue { board, writer: 0, reader: 1, at_most }
}

fn dedicated(writer: (u32, u32), reader: (u32, u32), at_most: Option<u32>) -> SmallQueue {
    let tasks = [task(0, writer.0, writer.1), task(1, reader.0, reader.1)];
    queue(1, &[&[(0, 1)], &[(0, 1)]], &tasks, at_most)
}

fn messages(number: u32) -> Result<Backlog, Unanswered> {
    Ok(Backlog::Messages(number))
}

/// Each alone on its core with one execution time: what is written at a read's instant is taken by it, so between two
/// reads stand as many as completions a period apart fall into a stretch of the reader's period.
#[test]
fn a_reader_of_all_finds_what_one_of_its_periods_brings() {
    for (writer, reader) in [(2, 5), (2, 4), (3, 7), (5, 2), (4, 4), (1, 6)] {
        let expected = messages(u32::div_ceil(reader, writer));
        assert_eq!(worst_backlog(&dedicated((writer, 1), (reader, 1), None)), expected, "{writer} {reader}");
    }
}

#[test]
fn an_execution_that_varies_brings_two_completions_together() {
    // Completions of a writer of 1 to 4 every 4: at 4 and at 5, then 9: three within the six from 4 to 9.
    let mut varied = dedicated((4, 4), (6, 1), None);
    assert_eq!(worst_backlog(&varied), messages(2));
    varied.board.tasks[0].task.bcet = 1;
    assert_eq!(worst_backlog(&varied), messages(3));
}

#[test]
fn a_reader_of_one_message() {
    assert_eq!(worst_backlog(&dedicated((2, 1), (3, 1), Some(1))), Ok(Backlog::Unbounded));
    // At the same pace each message is taken before the next is there.
    assert_eq!(worst_backlog(&dedicated((3, 1), (3, 1), Some(1))), messages(1));
    // Two messages in three periods: 3 and 6 of 2 taken at most, written every 2.
    assert_eq!(worst_backlog(&dedicated((2, 1), (4, 1), Some(2))), messages(2));
    assert_eq!(worst_backlog(&dedicated((2, 1), (5, 1), Some(2))), Ok(Backlog::Unbounded));
    assert_eq!(worst_backlog(&dedicated((2, 1), (5, 1), Some(3))), messages(3));
}

#[test]
fn what_an_aligned_reader_has_missed_stays_in_the_queue() {
    let with_offset = |offset, at_most| {
        let mut queue = dedicated((2, 1), (2, 1), at_most);
        for task in &mut queue.board.tasks {
            task.start = Start::Aligned;
        }
        queue.board.tasks[1].task.offset = offset;
        worst_backlog(&queue)
    };
    // Written at 1, 3, 5, 7: four stand at 8, and one at a time they are never made up for.
    assert_eq!(with_offset(8, Some(1)), messages(4));
    assert_eq!(with_offset(8, Some(2)), messages(4));
    assert_eq!(with_offset(8, None), messages(4));
    assert_eq!(with_offset(0, Some(1)), messages(1));
}

#[test]
fn windows_and_policies_decide_when_a_reader_reads() {
    // The reader's window [0, 1) of 8 reads once a frame: a writer of 1 every 2 leaves 4.
    let rare = queue(8, &[&[(0, 8)], &[(0, 1)]], &[task(0, 2, 1), task(1, 8, 1)], None);
    assert_eq!(worst_backlog(&rare), messages(4));
    // In one partition under either order: the periods divide, so every six ticks are alike, with three messages.
    let mut together = queue(1, &[&[(0, 1)]], &[task(0, 2, 1), task(0, 6, 3)], None);
    together.board.tasks[0].task.priority = 1;
    assert_eq!(worst_backlog(&together), messages(3));
    together.board.partitions[0].policy = Policy::Cooperative;
    assert_eq!(worst_backlog(&together), messages(3));
}

#[test]
fn a_writer_above_supply_has_no_answer() {
    let queue = queue(4, &[&[(0, 1)], &[(0, 4)]], &[task(0, 4, 2), task(1, 4, 1)], None);
    assert_eq!(worst_backlog(&queue), Err(Unanswered::Overloaded(0)));
}
