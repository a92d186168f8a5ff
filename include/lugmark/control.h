/** @file control.h
 * The control socket: a Unix socket, one JSON object a line in both directions.
 *
 * The daemon speaks first:
 *   {"schema":"lugmark.control/1","version":"0.1.0","session":SESSION|null}
 * Requests carry "do"; an "id" of any type is echoed; a "token" (text, at most 64 bytes, chosen by
 * the client) makes open, saw, head, undo and close safe to repeat after a lost answer: the second
 * time gets the first one's answer place with "again":true.
 *   {"do":"open","kind":"walk","mob":"does","lot":"L","animals":["A1"],"count":"C","who":"W"}
 *   {"do":"saw","number":"0417","lane":"1","on_last":true}
 *   {"do":"head","n":213,"lane":"1"}      {"do":"undo"}      {"do":"close"}
 *   {"do":"findings","text":true,"lang":"de"}  {"do":"status"}  {"do":"readers"}
 *   {"do":"watch","after":SEQ}            then the stream below follows, from SEQ on if given
 *   {"do":"pair","may":"act"|"look"}  {"do":"paired"}  {"do":"unpair","name":NAME|"all"}
 * Answers: {"ok":true,"id":...,"seq":N,...} or
 *   {"ok":false,"id":...,"error":"what","mend":"how","exit":2|3|4}
 *   open:     "session":SESSION "expected":N
 *   saw:      "verdict":VERDICT      undo: "undone":{"sighting":"0417"} or {"heads":213}
 *   close:    "tally":TALLY          status: "session":SESSION|null "tally":TALLY|null
 *   findings: "findings":{the lugmark.findings/1 object}, and "text", the same for people, if
 * asked, in the language of "lang" when there is a catalog of it, else in English readers:
 * "readers":[READER] open, saw, head, undo, close with a token that was used: "seq" and
 * "again":true head, undo: "tally":TALLY        close: "session":SESSION status also:
 * "journal":"well"|"failed" "problem":"..."|null "waiting":N (readings not yet on the disk)
 * "last_seq":N "lanes":["1"] "holding":{"name","number","keeper"} "animals":N
 *   "by_lane":[{"lane":"1","readings":N,"passes":N}]|null (of the open session: each lane there is)
 *   "page": where the page is, such as "http://127.0.0.1:8480/", or null
 *   watch: "last_seq":N
 *   pair: "url":"http://192.0.2.7:8480/pair#SECRET" "secret" "until":"...Z" "may" "qr":["0110..."]
 *   (rows of the QR code of url, 1 is dark, without the quiet zone)
 *   paired: "paired":[{"name":"device-1","may":"act"|"look","from":"192.0.2.9","paired":"...Z"}]
 *   unpair: "forgotten":N
 * An answer that has a seq is sent after that event is on the disk.
 *
 * SESSION
 * {"id":"1","kind":"walk","mob":"does"|null,"lot":...,"count":...,"who":...,"opened":"...Z",
 *          "closed":"...Z"|null}
 * TALLY   {"expected":N,"present":N,"not_seen":N,"identified":N,"readings":N,"passes":N,
 *          "heads":N|null,"go":N,"look":N,"hold":N}
 * VERDICT {"event":"verdict","seq":N,"t":"...Z","lane":"1","reader":"front","attention":"hold",
 *          "reasons":["not-in-register"],"repeat":false,"eid":"999000000012345"|null,
 *          "called":"0417"|null,"animal":"A17"|null,"visual":["0417"],"colour":"yellow",
 *          "place":"left ear","sex":"female","mob":"does","say":"nobody we know","tally":TALLY}
 *          "visual": the numbers it wears, the shortest first.
 *          "marks":[{"visual":"0417","colour":"yellow","place":"left ear","form":"flag tag"}]: what
 *          can be seen on it, each with the number that is on it ("" for none).
 *          "should":"orange, right ear": where the marking plan says so and the animal wears other
 *          marks, else "". Texts that are not known are "". A doubtful reading has its "text", too.
 * Stream also: {"event":"session","session":SESSION,"tally":TALLY} when one opens or closes,
 *   {"event":"tally","seq":N,"t":...,"tally":TALLY} with "heads":N, "undo":true or "register":"A17"
 *   after a head count, an undo or a register change,
 *   {"event":"reader",...READER} on a change of state,
 *   {"event":"journal","state":"failed"|"well","problem":"..."},
 *   {"event":"idle","eid":"...","animal":...} for a reading while no session is open.
 * READER  {"name":"front","lane":"1","driver":"serial","state":"live","since":"...Z","port":"...",
 *          "device":"...","opened":N,"readings":N,"last":"...Z"|null,"rejects":{"no-code":N,...},
 *          "problem":"..."|null,"mend":"..."|null}
 *   "since": when it came into this state; "port" as the configuration names it, "device" what that
 *   link leads to while it is open; "opened": how often it was; "last": its last reading.
 * States of a reader: absent, opening, live, silent, backing-off.
 * Keys are only ever added. Unknown keys are ignored by both sides. Lines over 64 KiB from a client
 * (1 MiB for open) end the connection; a client that does not read is dropped at 1 MiB of output.
 */
#ifndef LUGMARK_CONTROL_H
#define LUGMARK_CONTROL_H

#define LM_CONTROL_SCHEMA "lugmark.control/1"
#define LM_CONTROL_LINE_MAX 65536u
#define LM_CONTROL_OPEN_MAX 1048576u
#define LM_CONTROL_QUEUE_MAX 1048576u
#define LM_CONTROL_TOKEN_MAX 64u

#endif
