/** @file page.h
 * The page server: HTTP for the race page and its like. What it serves: lugmark/page.h.
 *
 * A reading never waits for a page. Answers are made one at a time, at a lower priority than
 * readers and journal; long looks through memory go in slices; what needs more runs in a process of
 * its own (page_child.c). The HTTP server of libevent is not used: it knows no limit of
 * connections, none of the time that a request may take, and it takes two lengths of one body.
 */
#ifndef LUGMARK_DAEMON_PAGE_H
#define LUGMARK_DAEMON_PAGE_H

#include "client.h"
#include "lugmark/page.h"
#include "page_door.h"
#include "page_http.h"
#include "page_ring.h"
#include <netinet/in.h>

#define PAGE_LISTENERS 12u
#define PAGE_CHILDREN 4u
#define PAGE_URL_MAX 96u
#define PAGE_DEFAULT_LISTEN "127.0.0.1:8480"

struct daemon;
struct event;
struct evbuffer;
struct page;
struct page_task;
struct page_scan;

struct page_listener {
    struct event *ev; /**< NULL: this place is free */
    struct page *page;
    int fd;
    struct sockaddr_storage at;
    bool lan; /**< opened for pairing, not by the configuration */
};

enum conn_state {
    CONN_HEAD,   /**< waits for a request */
    CONN_BODY,   /**< waits for its body */
    CONN_QUEUED, /**< waits for its turn to be worked on */
    CONN_BUSY,   /**< a process works for it */
    CONN_ANSWER, /**< the answer is on its way */
    CONN_STREAM, /**< follows the race */
    CONN_END     /**< said all; waits for the other side to go */
};

struct page_conn {
    struct page *page;
    struct page_conn *next;  /**< of all connections */
    struct page_conn *after; /**< of those that wait for their turn */
    struct bufferevent *bev;
    struct event *deadline;
    char peer[INET6_ADDRSTRLEN], local[INET6_ADDRSTRLEN];
    int port;    /**< ours */
    bool inside; /**< both ends are this machine's own loopback address */
    bool gone;   /**< to be freed at the next chance */
    bool ended;  /**< it has no more to say */
    enum conn_state state;
    enum door_may may;
    unsigned device; /**< number of the paired device, 0 for none */
    struct http_request request;
    struct evbuffer *body;
    int64_t since_ms;                  /**< steady clock, when it came into its state */
    void (*step)(struct page_conn *c); /**< what to do in its turn */
    struct page_task *task;
    struct page_scan *scan;
    struct client as; /**< a stream's place among those who are told */
    bool following;
    bool behind;  /**< it is being told what it missed, from the ring */
    int64_t told; /**< the stream has all of the journal up to here */
};

struct page {
    struct daemon *d;
    struct page_listener listeners[PAGE_LISTENERS];
    struct page_conn *conns;
    unsigned n;
    struct page_conn *first, *last; /**< those who wait for their turn */
    struct event *work;             /**< one of them, when nothing else is to do */
    struct event *late;             /**< one of them, also when there is always something else */
    struct event *reap, *beat, *again;
    unsigned beats;
    struct page_ring ring;
    struct doors doors;
    struct page_task *tasks; /**< those that wait for a process come after those that have one */
    unsigned running;
    struct event *task_check;
    int64_t full_said_ms;
    struct lm_problem problem; /**< why it does not listen */
};

/** Serve by the configuration. What cannot be listened on is said and tried again: no page is no
 * reason not to read. @return LM_OK or LM_ENOMEM. */
enum lm_err page_begin(struct page *p, struct daemon *d);
void page_end(struct page *p);

/** Address of the page, or "" when it is not served. */
const char *page_url(const struct page *p, char out[PAGE_URL_MAX]);

/** page_listen.c: open what the configuration names, and the LAN while doors_lan() wants it. */
void page_listen(struct page *p);
void page_listen_end(struct page *p);
/** The address that another device would use, with port; "" when there is none. */
const char *page_lan_address(const struct page *p, char out[PAGE_URL_MAX]);
/** The end of a URL for a socket address: `127.0.0.1:8480`, `[::1]:8480`. */
const char *page_address(const struct sockaddr_storage *at, char out[PAGE_URL_MAX]);

/** page_conn.c: take a connection over, or turn it away when there are too many. */
void page_take(struct page *p, int fd);
void conn_drop(struct page_conn *c);
void conn_no_memory(struct page_conn *c); /**< say so, and drop it: nothing of it can be answered */
/** Let it wait for its turn, then @p step. */
void conn_queue(struct page_conn *c, void (*step)(struct page_conn *c));
/** Give the next of those who wait its turn. */
void page_turn(struct page *p);
/** Free those that were dropped. */
void page_reap(struct page *p);

/** page_answer.c. Answers end the request; what is in @p body is taken out of it. */
void conn_answer(
    struct page_conn *c, int status, const char *type, const char *more, struct evbuffer *body);
void conn_json(struct page_conn *c, int status, json_t *object); /**< takes it over */
void conn_fail(struct page_conn *c, int status, const char *mend, const char *what);
/** Answer and end the connection: after what cannot be understood. */
void conn_refuse(struct page_conn *c, int status, const char *mend, const char *what);
/** What the answer to a stream begins with. */
void conn_stream_head(struct page_conn *c);

/** page_route.c: what may be refused before the body comes. @return true to go on. */
bool page_admit(struct page_conn *c);
/** Do what a whole request says. */
void page_route(struct page_conn *c);

/** page_files.c: an embedded file. @return false when there is none of that name. */
bool page_file(struct page_conn *c, const char *name);

/** page_events.c */
void page_events(struct page_conn *c);
void page_events_end(struct page_conn *c);
void page_events_written(struct page_conn *c);
void page_beat(struct page *p);
/** The journal is calm again: take up what waited for it. */
void page_wake(struct page *p);

/** page_replay.c: put the session that was open at the start into the ring. */
void page_replay(struct page *p);

/** page_do.c */
void page_do(struct page_conn *c);

/** page_api.c */
void page_not_seen(struct page_conn *c);
void page_find(struct page_conn *c);
void page_scan_end(struct page_conn *c);

/** page_views.c: whether a path is made by `lugmark`; if so it is begun. */
bool page_view(struct page_conn *c);
/** Accept or reject an explanation, take a register change back. */
void page_change(struct page_conn *c, const json_t *body);

#define PAGE_ARGS 16u

/** page_child.c: run `lugmark` with @p argv (copied; argv[0] is put in), and answer with what it
 * prints. @param[in] type  Of what it prints. */
void page_run(struct page_conn *c, const char *const argv[], const char *type);
void page_run_end(struct page_conn *c);
void page_run_all_end(struct page *p);

/** page_pair.c: POST /pair. */
void page_pair(struct page_conn *c);

#endif
