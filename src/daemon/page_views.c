/** @file page_views.c
 * Which command makes which view. A text of the page is only ever a value: it follows `--option=`,
 * or stands behind `--`; a number, a day and the name of a rule pack hold nothing else.
 */
#include "page.h"

#include "daemon.h"
#include "report/tongue.h"
#include <stdlib.h>
#include <string.h>

#define ARG_TEXT_MAX (LM_VISUAL_MAX + 1)
#define VIEW_ARGS 3u
#define JSON_TYPE "application/json; charset=utf-8"
#define HTML_TYPE "text/html; charset=utf-8"

enum arg_kind { ARG_NUMBER, ARG_DAY, ARG_PACK, ARG_TEXT, ARG_LOT };

struct view_arg {
    const char *key;    /**< in the query */
    const char *option; /**< "--from", or NULL: it stands behind `--` */
    enum arg_kind kind;
    bool must;
};

struct view {
    const char *path, *type;
    const char *command[4];
    struct view_arg args[VIEW_ARGS];
};

static const struct view views[] = {
    {"/api/animal", JSON_TYPE, {"show", "--history", "--json"}, {{"key", NULL, ARG_TEXT, true}}},
    {"/api/sessions", JSON_TYPE, {"findings", "--list", "--json"}, {{0}}},
    {"/api/findings", JSON_TYPE, {"findings", "--json"}, {{"session", NULL, ARG_NUMBER, false}}},
    {"/api/explain", JSON_TYPE, {"explain", "--json"}, {{"session", NULL, ARG_NUMBER, false}}},
    {"/api/counts", JSON_TYPE, {"count", "--list", "--json"}, {{0}}},
    {"/api/count", JSON_TYPE, {"count", "--json"}, {{"name", NULL, ARG_TEXT, true}}},
    {"/api/statement", JSON_TYPE, {"statement", "--json"},
        {{"from", "--from", ARG_DAY, true}, {"to", "--to", ARG_DAY, true},
            {"count", "--count", ARG_TEXT, false}}},
    {"/api/packs", JSON_TYPE, {"sale-check", "--packs", "--json"}, {{0}}},
    {"/api/sale", JSON_TYPE, {"sale-check", "--json"},
        {{"session", "--session", ARG_NUMBER, false}, {"lot", "--session", ARG_LOT, false},
            {"pack", "--pack", ARG_PACK, false}}},
    {"/report", HTML_TYPE, {"report", "--format=html"}, {{"session", NULL, ARG_NUMBER, false}}},
};

/* A command line in the making. */
struct line {
    const char *argv[PAGE_ARGS + 1];
    size_t n;
    char text[VIEW_ARGS][ARG_TEXT_MAX + 16];
    char db[DOOR_PATH_MAX], socket[DOOR_PATH_MAX];
    char lang[24];
};

static void begin(struct line *l, const struct page_conn *c, const char *const command[4])
{
    const struct daemon *d = c->page->d;
    *l = (struct line){.n = 1};
    for (size_t i = 0; i < 4 && command[i] != NULL; i++) {
        l->argv[l->n++] = command[i];
    }
    snprintf(l->db, sizeof l->db, "--db=%s", d->db);
    snprintf(l->socket, sizeof l->socket, "--socket=%s", d->socket);
    l->argv[l->n++] = l->db;
    l->argv[l->n++] = l->socket;
}

static bool all_of(const char *text, const char *allowed, size_t most)
{
    size_t n = strlen(text);
    return n > 0 && n <= most && strspn(text, allowed) == n;
}

struct lot {
    const char *name;
    int64_t session;
};

static enum lm_err note_lot(const struct lm_store_session *s, void *ctx)
{
    struct lot *lot = ctx;
    if (strcmp(s->open.lot, lot->name) == 0 && s->id > lot->session) {
        lot->session = s->id;
    }
    return LM_OK;
}

/* The latest session of a lot, as its number. */
static bool lot_session(struct page_conn *c, char *text, size_t size)
{
    struct lot lot = {text, 0};
    if (lm_store_sessions(c->page->d->store, note_lot, &lot) != LM_OK || lot.session == 0) {
        return false;
    }
    snprintf(text, size, "%lld", (long long) lot.session);
    return true;
}

static bool is_good(struct page_conn *c, enum arg_kind kind, char *text, size_t size)
{
    static const char pack[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-";
    switch (kind) {
    case ARG_NUMBER:
        return all_of(text, "0123456789", 9);
    case ARG_DAY:
        return all_of(text, "0123456789-", 10);
    case ARG_PACK:
        return all_of(text, pack, 32);
    case ARG_TEXT:
        return text[0] != '\0' && lm_text_clean(text, strlen(text));
    case ARG_LOT:
        return lot_session(c, text, size);
    }
    return false;
}

/* Put one value of the query where it belongs. @return false after answering. */
static bool put(struct page_conn *c, struct line *l, const struct view_arg *arg, size_t i)
{
    char text[ARG_TEXT_MAX], what[96];
    bool there = http_query(c->request.query, arg->key, text, sizeof text);
    if (!there && !arg->must) {
        return true;
    }
    if (!there || !is_good(c, arg->kind, text, sizeof text)) {
        snprintf(what, sizeof what, there ? "%s cannot be that" : "%s is not given", arg->key);
        conn_fail(c, 400, "see what the page itself asks for", what);
        return false;
    }
    if (arg->option != NULL) {
        snprintf(l->text[i], sizeof l->text[i], "%s=%s", arg->option, text);
    } else {
        l->argv[l->n++] = "--";
        snprintf(l->text[i], sizeof l->text[i], "%s", text);
    }
    l->argv[l->n++] = l->text[i];
    return true;
}

/* The words of a view in the language of the page, where there is such a catalog; else English. */
static void put_language(struct page_conn *c, struct line *l)
{
    char lang[16];
    if (!http_query(c->request.query, "lang", lang, sizeof lang) || !lm_tongue_lend(lang)) {
        return;
    }
    lm_tongue_give_back();
    snprintf(l->lang, sizeof l->lang, "--lang=%s", lang);
    l->argv[l->n++] = l->lang;
}

static void run(struct page_conn *c, const struct view *view)
{
    struct line *l = malloc(sizeof *l);
    bool good = l != NULL;
    if (l == NULL) {
        conn_no_memory(c);
        return;
    }
    begin(l, c, view->command);
    put_language(c, l);
    for (size_t i = 0; good && i < VIEW_ARGS && view->args[i].key != NULL; i++) {
        good = put(c, l, &view->args[i], i);
    }
    if (good) {
        page_run(c, l->argv, view->type);
    }
    free(l);
}

bool page_view(struct page_conn *c)
{
    for (size_t i = 0; i < sizeof views / sizeof views[0]; i++) {
        if (strcmp(views[i].path, c->request.path) == 0) {
            run(c, &views[i]);
            return true;
        }
    }
    return false;
}

static const char *text_of(const json_t *body, const char *key)
{
    const char *text = json_string_value(json_object_get(body, key));
    return text != NULL ? text : "";
}

static void change_explained(struct page_conn *c, struct line *l, const json_t *body)
{
    static const char *const command[4] = {"explain", "--json"};
    const char *session = text_of(body, "session"), *which = text_of(body, "explanation");
    const char *digits = which[0] == 'X' ? which + 1 : which;
    if (!all_of(session, "0123456789", 9) || !all_of(digits, "0123456789", 6)) {
        conn_fail(c, 400, "send \"session\":\"3\",\"explanation\":\"X1\"",
            "it is not said which explanation");
        return;
    }
    begin(l, c, command);
    snprintf(l->text[0], sizeof l->text[0], "--%s=%s", text_of(body, "do"), which);
    l->argv[l->n++] = l->text[0];
    l->argv[l->n++] = "--";
    l->argv[l->n++] = session;
    page_run(c, l->argv, JSON_TYPE);
}

void page_change(struct page_conn *c, const json_t *body)
{
    static const char *const undo[4] = {"undo", "--register", "--json"};
    struct line *l = malloc(sizeof *l);
    if (l == NULL) {
        conn_no_memory(c);
        return;
    }
    if (strcmp(text_of(body, "do"), "undo-register") == 0) {
        begin(l, c, undo);
        page_run(c, l->argv, JSON_TYPE);
    } else {
        change_explained(c, l, body);
    }
    free(l);
}
