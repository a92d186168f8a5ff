// The line to the daemon: events with resume, and what people said, sent once however often it takes.
import {_, kept, keep, post, token} from "./common.js";

const LOST_MS = 4200; // with the pace of the watch below: told within five seconds
const AGAIN_MS = 1000;

/** Keeps the stream open. `on.message(object)` for each, `on.state(connected, why)` on a change. */
export class Line {
	constructor(on, lastSeq) {
		this.on = on;
		this.lastSeq = lastSeq;
		this.connected = null;
		this.heard = performance.now();
		setInterval(() => this.watch(), 250);
		addEventListener("online", () => this.start());
		addEventListener("offline", () => this.lost(_`this device has no network`));
		document.addEventListener("visibilitychange", () => document.hidden || this.watch());
		this.start();
	}

	start() {
		clearTimeout(this.timer);
		this.source?.close();
		const source = new EventSource(`/events?after=${this.lastSeq()}`);
		this.source = source;
		this.heard = performance.now();
		source.onmessage = event => this.take(source, event);
		source.onerror = () => {
			if (source !== this.source) return;
			this.lost(_`the daemon does not answer`);
			if (source.readyState === EventSource.CLOSED) this.timer = setTimeout(() => this.start(), AGAIN_MS);
		};
	}

	take(source, event) {
		if (source !== this.source) return;
		this.heard = performance.now();
		let message;
		try {
			message = JSON.parse(event.data);
		} catch {
			return; // the rest of the stream may still be read
		}
		this.on.message(message);
		if (this.connected !== true) {
			this.connected = true;
			this.on.state(true, "");
		}
	}

	lost(why) {
		if (this.connected === false) return;
		this.connected = false;
		this.on.state(false, why);
	}

	/* Nothing heard, not even a beat: the line may look open and be dead. */
	watch() {
		if (performance.now() - this.heard < LOST_MS) return;
		this.lost(_`nothing was heard for five seconds`);
		this.start();
	}
}

/**
 * What was said and is not yet on the daemon's disk. Each has a token, so that sending it again is
 * safe; it outlives a reload. An item: {body, words, session, about, asks}; `about` is the event that
 * it speaks of.
 */
export class Outbox {
	constructor(changed) {
		this.changed = changed;
		this.items = kept("outbox", []).map(item => ({...item, flying: false}));
		this.busy = false;
	}

	save() {
		keep("outbox", this.items);
		this.changed(this.items);
	}

	/** Send; a refusal is thrown, a lost line leaves it waiting and gives null. */
	async send(body, words, session, about) {
		const item = {body: {...body, token: token()}, words, session, about, asks: false};
		this.items.push(item);
		return this.one(item);
	}

	async one(item) {
		try {
			item.flying = true;
			const answer = await post("/do", item.body);
			this.drop(item);
			return answer;
		} catch (error) {
			item.flying = false;
			if (error.answered) {
				this.drop(item);
				throw error;
			}
			this.save();
			return null;
		}
	}

	drop(item) {
		this.items = this.items.filter(other => other !== item);
		this.save();
	}

	/**
	 * The line is back and everything missed was told. What was said of "the animal just read" goes
	 * out by itself only while that is still the same animal; else the person decides.
	 */
	async flush(sessionId, aboutNow, refused) {
		if (this.busy) return;
		this.busy = true;
		for (const item of [...this.items]) {
			if (item.flying) continue;
			item.asks = item.session !== sessionId || item.about !== aboutNow(item.body);
			if (item.asks) continue;
			try {
				if ((await this.one(item)) === null) break;
			} catch (error) {
				refused(item, error);
			}
		}
		this.busy = false;
		this.save();
	}
}
