// What is heard and felt: three patterns that differ in number, pitch and length.

// [frequency in Hz, begins at s, lasts s, wave]
const TONES = {
	go: [[1320, 0, 0.07, "sine"]],
	look: [
		[660, 0, 0.14, "triangle"],
		[880, 0.2, 0.22, "triangle"],
	],
	hold: [
		[196, 0, 0.28, "square"],
		[196, 0.36, 0.28, "square"],
		[156, 0.72, 0.5, "square"],
	],
	lost: [
		[440, 0, 0.18, "sawtooth"],
		[330, 0.22, 0.3, "sawtooth"],
	],
};
const SHAKES = {go: [], look: [120, 80, 120], hold: [400, 120, 400, 120, 600], lost: [60, 60, 60, 60, 60]};
const LOUD = {go: 0.12, look: 0.35, hold: 0.5, lost: 0.3};

let context = null;

/** Browsers let a page sound only once it was touched. @return whether it sounds now. */
export async function wake() {
	try {
		context ??= new AudioContext();
		await context.resume();
	} catch {
		/* no sound on this device */
	}
	return context?.state === "running";
}

export const sounding = () => context?.state === "running";

export function play(name) {
	if (navigator.userActivation?.hasBeenActive) navigator.vibrate?.(SHAKES[name]);
	if (!sounding()) return;
	for (const [hz, begins, lasts, wave] of TONES[name]) {
		const tone = context.createOscillator(),
			gain = context.createGain();
		const from = context.currentTime + begins;
		tone.type = wave;
		tone.frequency.value = hz;
		gain.gain.setValueAtTime(0, from);
		gain.gain.linearRampToValueAtTime(LOUD[name], from + 0.01);
		gain.gain.setValueAtTime(LOUD[name], from + lasts - 0.02);
		gain.gain.linearRampToValueAtTime(0, from + lasts);
		tone.connect(gain).connect(context.destination);
		tone.start(from);
		tone.stop(from + lasts + 0.02);
	}
}
