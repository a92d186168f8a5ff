// Tests in order, told as TAP. A test that throws failed; the others go on.
const tests = [];

export function test(name, body) {
    tests.push([name, body]);
}

function late(seconds) {
    return new Promise((_, fail) => {
        setTimeout(() => fail(new Error(`not done after ${seconds} s`)), seconds * 1000).unref();
    });
}

export async function run(name, seconds = 60) {
    const chosen = tests.filter(([title]) => title.includes(process.argv[2] ?? ""));
    let bad = 0;
    console.log(`1..${chosen.length}`);
    for (const [i, [title, body]] of chosen.entries()) {
        const start = performance.now();
        try {
            await Promise.race([body(), late(seconds)]);
            console.log(`ok ${i + 1} - ${name}: ${title}`);
        } catch (error) {
            bad++;
            console.log(`not ok ${i + 1} - ${name}: ${title}`);
            console.log(String(error.stack ?? error).replace(/^/gm, "# "));
        }
        if (process.env.LUGMARK_TEST_TIMES) console.log(`# ${((performance.now() - start) / 1000).toFixed(2)} s`);
    }
    process.exitCode = bad > 0 || chosen.length === 0 ? 1 : 0;
}
