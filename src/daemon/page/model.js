// What the page knows: the stream folded, in the same order for everybody. No document here.
import {_} from "./tongue.js";

export const WORDS = {go: _`GO`, look: _`LOOK`, hold: _`HOLD`};

export class Model {
	constructor() {
		this.lastSeq = 0;
		this.upTo = 0; // what the daemon had when it greeted us: before that we only catch up
		this.may = "look";
		this.readers = new Map();
		this.lanes = [];
		this.mobs = null;
		this.holding = null;
		this.journal = null; // its problem, when it failed
		this.begin(null);
	}

	begin(session) {
		this.session = session;
		this.tally = null;
		this.last = null; // what passed last
		this.passes = []; // the last few verdicts, for when one is taken back
		this.flags = []; // to be looked at, oldest first
		this.said = []; // calls and head counts that may be taken back
		this.idle = null;
	}

	get open() {
		return this.session !== null && !this.session.closed;
	}

	get catchingUp() {
		return this.lastSeq < this.upTo;
	}

	/** Take one message. @return what changed, or null when it was told before. */
	take(message) {
		const seq = message.seq ?? 0;
		if (seq > 0 && seq <= this.lastSeq) return null;
		const caught = this.lastSeq < this.upTo;
		if (seq > 0) this.lastSeq = seq;
		const kind = message.event;
		if (typeof this["on_" + kind] !== "function") return null;
		this["on_" + kind](message);
		return {kind, message, old: seq > 0 && caught && seq <= this.upTo};
	}

	on_hello(m) {
		if (m.last_seq < this.lastSeq) {
			// another register: nothing that we know holds
			this.lastSeq = 0;
			this.begin(null);
		}
		this.upTo = m.last_seq ?? 0;
		this.may = m.may === "act" ? "act" : "look";
		this.lanes = m.lanes ?? [];
		this.mobs = m.mobs ?? null;
		this.holding = m.holding ?? null;
		this.journal = m.journal === "failed" ? m.problem || _`it cannot be written` : null;
		this.readers = new Map((m.readers ?? []).map(r => [r.name, r]));
		if (m.session && m.session.id !== this.session?.id) this.begin(m.session);
		if (m.session && m.tally) this.tally = m.tally;
	}

	on_session(m) {
		if (m.session?.id !== this.session?.id) this.begin(m.session);
		this.session = m.session;
		this.tally = m.tally ?? this.tally;
	}

	on_verdict(v) {
		this.tally = v.tally ?? this.tally;
		if (v.repeat) return;
		this.last = v;
		this.passes.push(v);
		if (this.passes.length > 50) this.passes.shift();
		if (v.called !== null && v.called !== undefined)
			this.said.push({seq: v.seq, words: _`the call ${v.called}`});
		if (v.attention !== "go") this.flags.push(v);
	}

	on_tally(m) {
		this.tally = m.tally ?? this.tally;
		if (m.heads !== undefined) this.said.push({seq: m.seq, words: _`the head count ${m.heads}`});
		if (m.undo) this.takeBack(this.said.pop()?.seq);
	}

	takeBack(seq) {
		this.flags = this.flags.filter(v => v.seq !== seq);
		this.passes = this.passes.filter(v => v.seq !== seq);
		if (this.last?.seq === seq) this.last = this.passes[this.passes.length - 1] ?? null;
	}

	on_reader(r) {
		this.readers.set(r.name, r);
	}

	on_journal(m) {
		this.journal = m.state === "failed" ? m.problem || _`it cannot be written` : null;
	}

	on_idle(m) {
		this.idle = m;
	}

	on_beat() {}

	/** The last reading from a lane, which a call "for the animal just read" belongs to. */
	lastRead() {
		for (let i = this.passes.length - 1; i >= 0; i--)
			if (this.passes[i].eid && (this.passes[i].called ?? null) === null) return this.passes[i];
		return null;
	}

	/** Those to be looked at, without those already looked at: hold before look, then as they came. */
	queue(done) {
		return this.flags
			.filter(v => !done.has(v.seq))
			.sort((a, b) => (b.attention === "hold") - (a.attention === "hold") || a.seq - b.seq);
	}
}

/** Which marks to draw: the shortest printed number first, for it is read from farthest. */
export function marksOf(v) {
	const worn = (Array.isArray(v.marks) ? v.marks : [])
		.map(m => ({number: m.visual ?? "", colour: m.colour, place: m.place, form: m.form}))
		.filter(m => m.number || m.colour)
		.sort((a, b) => (a.number === "") - (b.number === "") || a.number.length - b.number.length);
	if (worn.length > 0) return worn;
	const numbers = v.visual ?? [];
	if (numbers.length > 1)
		// which of them is on the tag of that colour was not said
		return [...numbers].sort((a, b) => a.length - b.length).map(number => ({number, colour: "", place: ""}));
	return [{number: numbers[0] ?? "", colour: v.colour, place: v.place}];
}

/** The plan's words, "orange, right ear", as a mark; what it does not name is as it is worn. */
export function markByPlan(should, worn) {
	const mark = {...worn};
	for (const part of String(should)
		.split(",")
		.map(p => p.trim())
		.filter(Boolean)) {
		if (/(ear|web|leg)$/.test(part)) mark.place = part;
		else if (/ (tag|bolus|band)$|^tattoo$/.test(part)) mark.form = part;
		else if (/^number /.test(part)) mark.number = part.slice(7);
		else mark.colour = part;
	}
	return mark;
}

export function numberOf(v) {
	return marksOf(v)[0]?.number || v.called || "";
}

/** What to call it by: its number, else the end of its code. */
export function nameOf(v) {
	return numberOf(v) || (v.eid ? `\u2026${v.eid.slice(-5)}` : v.text || "?");
}

/** Readers in one word each: what a person must mend is told from what is well. */
export const readerWell = r => r.state === "live" || r.state === "silent";
