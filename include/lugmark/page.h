/** @file page.h
 * What the daemon serves over HTTP, for its own pages and for other programs on this machine.
 *
 * GET  /            the race page          GET /book   register, findings, count, statement, sale
 * GET  /pair        where a telephone gives the secret; the only page without a cookie
 * GET  /NAME        style sheets, scripts, the icon: embedded files, with ETag
 * GET  /events      server-sent events: the lines of the control socket's `watch` (control.h), each
 *                   as `data:`; those of the journal with `id: SEQ`. `Last-Event-ID` or
 *                   `?after=SEQ` resumes with nothing lost and nothing twice. The first message
 *                   bears as its id the place after which the stream goes on:
 *                   {"event":"hello","schema":"lugmark.control/1","version":"0.1.0",
 *                    "may":"act"|"look","session":SESSION|null,"tally":TALLY|null,"last_seq":N,
 *                    "readers":[READER],"journal":"well"|"failed","problem":null,
 *                    "holding":{...},"lanes":["1"]}
 *                   Every two seconds {"event":"beat"}: a page that hears nothing for five says
 *                   that the connection is lost.
 * POST /do          one request of the control socket: open saw head undo close findings status
 *                   readers, from this machine itself also pair paired unpair; the same answer,
 *                   with status 200, 400 or 503. Its body is application/json, at most 64 KiB
 *                   (1 MiB for open). Besides: {"do":"accept","session":"3","explanation":"X1"},
 *                   {"do":"reject",...}: see lugmark explain. {"do":"undo-register"}.
 * GET  /api/not-seen?q=04&limit=20   from memory, of the open session:
 *                   {"ok":true,"total":N,"animals":[SHORT]}, at most 200; without q the first ones
 *                   by number. q matches anywhere in a printed number or the animal's name,
 *                   without regard to case; those that begin with it come first.
 * GET  /api/find?q=TEXT   the same of the whole register, at most 50; removed devices and
 *                   electronic codes count, too
 * SHORT   {"animal":"A17","visual":["0417"],"marks":[MARK],"colour":"yellow","place":"left ear",
 *          "should":"...","sex":"female","mob":"does","status":"on-farm"}
 *
 * Made by `lugmark` in a process of its own, so that the race never waits for them; the answer is
 * what the command prints with --json, {"ok":false,"error":...,"mend":...} when it fails (400 for
 * what was asked, 500 for the register, 504 when it takes longer than 20 s; at most 8 MiB, four at
 * once):
 * GET  /api/animal?key=A17           show --history
 * GET  /api/sessions                 findings --list
 * GET  /api/findings?session=3       findings
 * GET  /api/explain?session=3        explain
 * GET  /api/counts                   count --list
 * GET  /api/count?name=2026          count
 * GET  /api/statement?from=&to=&count=   statement
 * GET  /api/packs                    sale-check --packs
 * GET  /api/sale?lot=NAME&pack=ID    sale-check (the lot: `lot` of a sale session, or its id in
 *                                    `session`)
 * GET  /report?session=3             the printed report: self-contained HTML
 * With &lang=de what these say in words (evidence, notes, why a rule asks, the report) is in that
 * language where there is a catalog of it, else in English; keys and names of kinds never are.
 *
 * Doors. On 127.0.0.1 and ::1 alone whoever may use this machine may use the page. Elsewhere every
 * request but /pair and its files needs the cookie that /pair gave in exchange for the secret
 * (HttpOnly, SameSite=Strict); 401 without it, and pages lead to /pair. A device that was paired to
 * look gets 403 for `POST /do` of anything that changes. `Host` must be a name or address the page
 * listens on (421 else), `Origin` the same when it is sent (403), a POST must say application/json
 * (415). Limits: 8 KiB of headers (431), 64 connections, 16 per address (503), 10 s for a request
 * (408).
 *
 * Pairing: `lugmarkd --pair` asks the daemon at work and prints a QR code with
 * http://ADDRESS:PORT/pair#SECRET; a secret works once, for ten minutes, five wrong guesses spend
 * it, and an address that made five rests a minute (429). While a secret waits or a device is
 * paired the page listens on this machine's other addresses, too.
 * POST /pair {"secret":"...","name":"rail"} -> {"ok":true,"may":"act"|"look","name":"rail"} and the
 * cookie; without a name it gets one.
 *
 * Errors are {"ok":false,"error":"what","mend":"how"} with the status.
 */
#ifndef LUGMARK_PAGE_H
#define LUGMARK_PAGE_H

#define LM_PAGE_BEAT_MS 2000
#define LM_PAGE_LOST_MS 5000
#define LM_PAGE_HEADERS_MAX 8192
#define LM_PAGE_CONNECTIONS 64u
#define LM_PAGE_PER_ADDRESS 16u
#define LM_PAGE_REQUEST_S 10

#endif
