/** @file page_child.c
 * What takes longer than a race can wait for is made by `lugmark`, in a process of its own: a few
 * at once, each with its time and its size, and gone as soon as nobody waits for it any more.
 */
#include "page.h"

#include "clock.h"
#include "daemon.h"
#include "drivers/child.h"
#include "log.h"
#include <errno.h>
#include <event2/buffer.h>
#include <limits.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <unistd.h>

#define OUT_MAX (8u << 20)
#define ERR_MAX 4096u
#define RUN_MS 20000
#define CHECK_US 50000
#define READ_A_TURN 65536
#define NICE 10 /* the race comes first */

struct page_task {
    struct page_task *next;
    struct page *page;
    struct page_conn *conn; /**< NULL: nobody waits for it any more */
    struct child child;
    struct event *ev;
    struct evbuffer *out, *err;
    char *argv[PAGE_ARGS + 1];
    const char *type;
    int64_t since_ms;
    bool running;
};

static void task_free(struct page_task *t)
{
    for (size_t i = 0; t->argv[i] != NULL; i++) {
        free(t->argv[i]);
    }
    if (t->ev != NULL) {
        event_free(t->ev);
    }
    if (t->out != NULL) {
        evbuffer_free(t->out);
    }
    if (t->err != NULL) {
        evbuffer_free(t->err);
    }
    free(t);
}

/* Nothing more is read from it; it ends, and the check sees it go. */
static void let_go(struct page_task *t)
{
    if (t->conn != NULL) {
        t->conn->task = NULL;
        t->conn = NULL;
    }
    if (t->ev != NULL) {
        event_free(t->ev); /* before what it watches is closed */
        t->ev = NULL;
    }
    child_ask(&t->child);
    event_active(t->page->task_check, EV_TIMEOUT, 0);
}

/* The last thing that `lugmark` said: "lugmark: WHAT; to mend: HOW". */
static void answer_failed(struct page_conn *c, struct evbuffer *err, int exit)
{
    char text[ERR_MAX + 1], what[512], mend[512];
    static const char mark[] = "; to mend: ";
    ssize_t n = evbuffer_copyout(err, text, ERR_MAX);
    size_t len = n > 0 ? (size_t) n : 0;
    while (len > 0 && text[len - 1] == '\n') {
        len--;
    }
    text[len] = '\0';
    char *line = strrchr(text, '\n');
    line = line != NULL ? line + 1 : text;
    line += strncmp(line, "lugmark: ", 9) == 0 ? 9 : 0;
    char *how = strstr(line, mark);
    lm_text_copy(mend, sizeof mend, how != NULL ? how + sizeof mark - 1 : "",
        how != NULL ? strlen(how + sizeof mark - 1) : 0);
    lm_text_copy(what, sizeof what, line, how != NULL ? (size_t) (how - line) : strlen(line));
    conn_fail(c, exit == 2 || exit == 3 ? 400 : 500, mend,
        what[0] != '\0' ? what : "it could not be made");
}

/* A request to /do is answered as all of them: with "ok". */
static void answer_change(struct page_conn *c, struct evbuffer *out)
{
    size_t len = evbuffer_get_length(out);
    const char *text = len > 0 ? (const char *) evbuffer_pullup(out, -1) : "";
    json_t *said = text != NULL ? json_loadb(text, len, 0, NULL) : NULL;
    json_t *answer = json_pack("{s:b}", "ok", 1);
    if (json_is_object(said)) {
        json_object_update(answer, said);
    }
    json_decref(said);
    journal_catch_up(&c->page->d->journal); /* the race knows at once */
    conn_json(c, 200, answer);
}

/* Own styles stand in a report, which shows nothing else that could do anything. */
static const char report_policy[] =
    "Content-Security-Policy: default-src 'none'; style-src 'unsafe-inline'; img-src data:; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'\r\n";

static void finish(struct page_task *t)
{
    struct page_conn *c = t->conn;
    bool good = t->child.code == CLD_EXITED && t->child.value >= 0 && t->child.value <= 1;
    int exit = t->child.code == CLD_EXITED ? t->child.value : 4;
    c->task = NULL;
    t->conn = NULL;
    if (!good) {
        answer_failed(c, t->err, exit);
    } else if (c->request.method == HTTP_POST) {
        answer_change(c, t->out);
    } else {
        conn_answer(
            c, 200, t->type, strncmp(t->type, "text/html", 9) == 0 ? report_policy : "", t->out);
    }
    let_go(t);
}

/* Take what is there. A pipe at its end is closed: it would be readable for ever. */
static void take(int *fd, struct evbuffer *into, size_t most)
{
    int n = *fd >= 0 ? evbuffer_read(into, *fd, READ_A_TURN) : -1;
    size_t len = evbuffer_get_length(into);
    if (*fd >= 0 && (n == 0 || (n < 0 && errno != EAGAIN && errno != EINTR))) {
        close(*fd);
        *fd = -1;
    }
    if (len > most) {
        evbuffer_drain(into, len - most);
    }
}

static bool is_over(struct page_task *t)
{
    return t->child.out < 0 && t->child.err < 0 && child_has_ended(&t->child);
}

static void on_child(evutil_socket_t fd, short what, void *ctx)
{
    struct page_task *t = ctx;
    (void) fd;
    (void) what;
    take(&t->child.out, t->out, OUT_MAX + 1);
    take(&t->child.err, t->err, ERR_MAX);
    if (evbuffer_get_length(t->out) > OUT_MAX) {
        struct page_conn *c = t->conn;
        let_go(t);
        conn_fail(c, 500, "use lugmark on the machine itself", "the answer is too long for a page");
    } else if (is_over(t)) {
        finish(t);
    }
}

static void start(struct page_task *t)
{
    struct lm_problem p = {.err = LM_OK};
    struct page *page = t->page;
    struct page_conn *c = t->conn;
    enum lm_err err = child_start(&t->child, t->argv, "", &p);
    if (err == LM_OK) {
        setpriority(PRIO_PROCESS, (id_t) t->child.pid, NICE);
        t->ev = event_new(page->d->base, t->child.watch, EV_READ | EV_PERSIST, on_child, t);
    }
    t->running = true;
    t->since_ms = clock_steady_ms();
    page->running++;
    if (err != LM_OK || t->ev == NULL || event_priority_set(t->ev, PRIORITY_PAGE) != 0 ||
        event_add(t->ev, NULL) != 0) {
        let_go(t);
        conn_fail(
            c, 500, "install lugmark beside lugmarkd", p.what[0] != '\0' ? p.what : "no memory");
    }
}

static void start_next(struct page *p)
{
    for (struct page_task *t = p->tasks; t != NULL && p->running < PAGE_CHILDREN; t = t->next) {
        if (!t->running && t->conn != NULL) {
            start(t);
        }
    }
}

/* Those whose time is over end; those that are gone make room. */
static void check(struct page *p)
{
    for (struct page_task **at = &p->tasks; *at != NULL;) {
        struct page_task *t = *at;
        if (t->running && t->conn != NULL && clock_steady_ms() - t->since_ms > RUN_MS) {
            struct page_conn *c = t->conn;
            let_go(t);
            conn_fail(c, 504, "use lugmark on the machine itself", "it took too long to make");
        }
        if (t->running && t->conn != NULL && is_over(t)) {
            finish(t); /* where the system does not tell of the end */
        }
        if (t->conn == NULL && (!t->running || child_is_gone(&t->child))) {
            p->running -= t->running ? 1u : 0u;
            *at = t->next;
            task_free(t);
        } else {
            at = &t->next;
        }
    }
    start_next(p);
}

static void on_check(evutil_socket_t fd, short what, void *ctx)
{
    static const struct timeval again = {0, CHECK_US};
    struct page *p = ctx;
    (void) fd;
    (void) what;
    check(p);
    if (p->tasks != NULL) {
        evtimer_add(p->task_check, &again);
    }
}

/* The program beside our own, by its full name: nothing in PATH or of the page decides. */
static char *beside(const char *name)
{
    char path[PATH_MAX];
    ssize_t n = readlink("/proc/self/exe", path, sizeof path - 1);
    char *out = NULL;
    path[n > 0 ? n : 0] = '\0';
    char *slash = strrchr(path, '/');
    if (slash == NULL) {
        return NULL;
    }
    slash[1] = '\0';
    return asprintf(&out, "%s%s", path, name) > 0 ? out : NULL;
}

static struct page_task *task_new(struct page_conn *c, const char *const argv[], const char *type)
{
    struct page_task *t = calloc(1, sizeof *t);
    if (t == NULL) {
        return NULL;
    }
    child_init(&t->child);
    t->page = c->page;
    t->type = type;
    t->out = evbuffer_new();
    t->err = evbuffer_new();
    bool good = t->out != NULL && t->err != NULL && (t->argv[0] = beside("lugmark")) != NULL;
    for (size_t i = 1; good && i < PAGE_ARGS && argv[i] != NULL; i++) {
        t->argv[i] = strdup(argv[i]);
        good = t->argv[i] != NULL;
    }
    if (!good) {
        task_free(t);
        return NULL;
    }
    return t;
}

void page_run(struct page_conn *c, const char *const argv[], const char *type)
{
    struct page *p = c->page;
    if (p->task_check == NULL) {
        p->task_check = evtimer_new(p->d->base, on_check, p);
    }
    struct page_task *t = p->task_check != NULL ? task_new(c, argv, type) : NULL;
    if (t == NULL) {
        conn_fail(c, 503, "end other programs", "out of memory");
        return;
    }
    struct page_task **at = &p->tasks;
    while (*at != NULL) {
        at = &(*at)->next;
    }
    *at = t;
    t->conn = c;
    c->task = t;
    c->state = CONN_BUSY;
    start_next(p);
    on_check(-1, 0, p);
}

void page_run_end(struct page_conn *c)
{
    if (c->task != NULL) {
        let_go(c->task);
    }
}

void page_run_all_end(struct page *p)
{
    for (struct page_task *t = p->tasks; t != NULL; t = t->next) {
        let_go(t);
    }
    while (p->tasks != NULL) {
        struct page_task *t = p->tasks;
        p->tasks = t->next;
        child_end(&t->child);
        task_free(t);
    }
}
