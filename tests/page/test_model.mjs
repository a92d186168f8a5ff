// The fold of the stream without a browser: what is told twice, taken back, or comes after a gap.
import assert from "node:assert/strict";
import {run, test} from "./tap.mjs";

const {Model, marksOf, markByPlan, nameOf} = await import(
    new URL("../../src/daemon/page/model.js", import.meta.url)
);
const SESSION = {id: "1", kind: "walk", mob: "does", closed: null};
const hello = (more) => ({
    event: "hello",
    may: "act",
    session: SESSION,
    tally: {expected: 3},
    last_seq: 0,
    readers: [],
    journal: "well",
    lanes: ["1"],
    ...more,
});
const verdict = (seq, attention, more) => ({
    event: "verdict",
    seq,
    attention,
    repeat: false,
    eid: `99900000000000${seq}`,
    called: null,
    visual: [String(seq)],
    tally: {expected: 3, present: seq},
    ...more,
});
const make = (...messages) => {
    const model = new Model();
    messages.forEach((m) => model.take(m));
    return model;
};

test("an event told twice counts once", async () => {
    const model = make(hello(), verdict(5, "hold"), verdict(5, "hold"), verdict(4, "hold"));
    assert.deepEqual([model.flags.length, model.lastSeq, model.take(verdict(5, "hold"))], [1, 5, null]);
});

test("the queue: hold before look, then as they came, without those looked at", async () => {
    const model = make(
        hello(),
        verdict(1, "look"),
        verdict(2, "go"),
        verdict(3, "hold"),
        verdict(4, "look"),
        verdict(5, "hold"),
    );
    assert.deepEqual(
        model.queue(new Set()).map((v) => v.seq),
        [3, 5, 1, 4],
    );
    assert.deepEqual(
        model.queue(new Set([3, 1])).map((v) => v.seq),
        [5, 4],
    );
    assert.equal(model.last.seq, 5);
});

test("a repeat changes the figures and not the board", async () => {
    const model = make(hello(), verdict(1, "go"), verdict(2, "go", {repeat: true}));
    assert.deepEqual([model.last.seq, model.tally.present], [1, 2]);
});

test("undo takes back the last that was said, and its flag", async () => {
    const model = make(hello(), verdict(1, "go"), verdict(2, "hold", {called: "9", eid: null}), {
        event: "tally",
        seq: 3,
        heads: 4,
        tally: {heads: 4},
    });
    model.take({event: "tally", seq: 4, undo: true, tally: {heads: null}});
    assert.deepEqual([model.flags.length, model.said.length, model.tally.heads], [1, 1, null]);
    model.take({event: "tally", seq: 5, undo: true, tally: {}});
    assert.deepEqual([model.flags.length, model.said.length, model.last.seq], [0, 0, 1]);
});

test("another session begins anew, the same one goes on", async () => {
    const model = make(hello(), verdict(1, "hold"), hello({last_seq: 1}));
    assert.equal(model.flags.length, 1);
    model.take(hello({session: {...SESSION, id: "2"}, last_seq: 7}));
    assert.deepEqual([model.flags.length, model.last, model.catchingUp], [0, null, true]);
});

test("what comes before the greeting's last event is no news", async () => {
    const model = make(hello({last_seq: 2}));
    assert.deepEqual(
        [1, 2, 3].map((seq) => model.take(verdict(seq, "hold")).old),
        [true, true, false],
    );
});

test("a register that was set back is believed", async () => {
    const model = make(hello({last_seq: 9}), verdict(9, "hold"), hello({session: null, last_seq: 3}));
    assert.deepEqual([model.lastSeq, model.flags.length, model.open], [0, 0, false]);
});

test("marks: the shortest number first, and no number on a colour it may not belong to", async () => {
    assert.deepEqual(
        marksOf(verdict(1, "go", {visual: ["EX 0000 00101", "1001"], colour: "yellow", place: "left ear"}))[0],
        {number: "1001", colour: "", place: ""},
    );
    assert.deepEqual(marksOf({visual: ["0417"], colour: "yellow", place: "left ear"}), [
        {number: "0417", colour: "yellow", place: "left ear"},
    ]);
    assert.equal(
        marksOf({
            visual: [],
            marks: [
                {visual: "EX 0000 00101", colour: "yellow"},
                {visual: "1001", colour: "green"},
            ],
        })[0].colour,
        "green",
    );
    assert.deepEqual(markByPlan("orange, flag tag, right ear, number 6###", {number: "1", colour: "x"}), {
        number: "6###",
        colour: "orange",
        form: "flag tag",
        place: "right ear",
    });
    assert.equal(nameOf({visual: [], eid: "999000000012345"}), "\u202612345");
});

test("messages that are none do nothing", async () => {
    const model = make(hello());
    for (const m of [{}, {event: "none"}, {event: "constructor"}, {event: "beat"}, {event: "reader"}])
        assert.doesNotThrow(() => model.take(m));
});

await run("model");
