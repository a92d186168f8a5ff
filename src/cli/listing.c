/* Lists of what there was: sessions, counts. */
#include "listing.h"

#include <jansson.h>
#include <string.h>

#include "lugmark/store.h"
#include "open_db.h"
#include "out_json.h"
#include "problem.h"
#include "verdict.h"
#include "report/tongue.h"

static json_t *time_or_null(int64_t t_ms)
{
    char t[LM_TIME_TEXT_SIZE];
    return t_ms == LM_TIME_NONE ? json_null() : json_string(lm_time_format(t_ms, t));
}

/* A session as the daemon says it. */
static json_t *session_json(const struct lm_store_session *s)
{
    char id[24];
    snprintf(id, sizeof id, "%lld", (long long) s->id);
    return json_pack("{s:s, s:s, s:o, s:o, s:o, s:o, s:o, s:o}", "id", id, "kind",
        lm_session_kind_name(s->open.kind), "mob", lm_json_or_null(s->open.mob), "lot",
        lm_json_or_null(s->open.lot), "count", lm_json_or_null(s->open.count), "who",
        lm_json_or_null(s->open.who), "opened", time_or_null(s->opened_ms), "closed",
        time_or_null(s->closed_ms));
}

static enum lm_err add_session(const struct lm_store_session *s, void *ctx)
{
    json_t *list = ctx;
    return json_array_insert_new(list, 0, session_json(s)) == 0 ? LM_OK : LM_ENOMEM;
}

/* The count of that name, which comes first then. NULL without memory. */
static json_t *count_named(json_t *list, const char *name)
{
    json_t *found = NULL;
    size_t i;
    json_t *c;
    json_array_foreach(list, i, c)
    {
        if (strcmp(json_string_value(json_object_get(c, "name")), name) == 0) {
            found = json_incref(c);
            json_array_remove(list, i);
            break;
        }
    }
    if (found == NULL)
        found = json_pack(
            "{s:s, s:i, s:n, s:n, s:n}", "name", name, "sessions", 0, "from", "to", "closed");
    return json_array_insert_new(list, 0, found) == 0 ? found : NULL;
}

static enum lm_err add_count(const struct lm_store_session *s, void *ctx)
{
    json_t *list = ctx;
    if (s->open.count[0] == '\0')
        return LM_OK;
    json_t *c = count_named(list, s->open.count);
    if (c == NULL)
        return LM_ENOMEM;
    json_int_t n = json_integer_value(json_object_get(c, "sessions"));
    json_object_set_new(c, "sessions", json_integer(n + 1));
    if (json_is_null(json_object_get(c, "from")))
        json_object_set_new(c, "from", time_or_null(s->opened_ms));
    json_object_set_new(c, "to", time_or_null(s->closed_ms));
    return LM_OK;
}

/* When a count was closed, as `lugmark count --close` wrote it down. */
static enum lm_err add_closings(struct lm_store *store, json_t *list)
{
    size_t i;
    json_t *c;
    json_array_foreach(list, i, c)
    {
        char key[LM_NAME_MAX + 8], value[128], t[32];
        snprintf(key, sizeof key, "count:%.63s", json_string_value(json_object_get(c, "name")));
        enum lm_err err = lm_store_setting(store, key, value, sizeof value);
        if (err != LM_OK)
            return err;
        const char *closed = strstr(value, "closed=");
        if (closed != NULL && sscanf(closed, "closed=%31s", t) == 1)
            json_object_set_new(c, "closed", json_string(t));
    }
    return LM_OK;
}

static void session_lines(const json_t *list)
{
    size_t i;
    json_t *s;
    json_array_foreach(list, i, s)
    {
        lm_session_line(stdout, s);
        putchar('\n');
    }
    if (json_array_size(list) == 0)
        puts(_("There was no session yet."));
}

static void count_lines(const json_t *list)
{
    char name[LM_NAME_MAX + 1], closed[40];
    size_t i;
    json_t *c;
    json_array_foreach(list, i, c)
    {
        lm_json_text(c, "closed", closed, sizeof closed);
        long long n = (long long) lm_json_int(c, "sessions", 0);
        printf(lm_tongue_n("%s: %lld session", "%s: %lld sessions", (unsigned long) n),
            lm_json_text(c, "name", name, sizeof name), n);
        if (closed[0] != '\0')
            printf(_(", closed %.10s"), closed);
        putchar('\n');
    }
    if (json_array_size(list) == 0)
        puts(_("There was no count yet."));
}

static int list_of(const struct lm_args *args, const char *key, lm_session_fn *add)
{
    struct lm_store *store = NULL;
    json_t *list = json_array();
    bool counts = add == add_count;
    int exit = lm_db_open(args, LM_STORE_READ, &store);
    if (exit == LM_EXIT_OK && (lm_store_sessions(store, add, list) != LM_OK ||
                                  (counts && add_closings(store, list) != LM_OK)))
        exit = lm_db_fail(store);
    if (exit == LM_EXIT_OK && lm_arg_given(args, "json"))
        lm_json_line(stdout, json_pack("{s:O}", key, list));
    else if (exit == LM_EXIT_OK && counts)
        count_lines(list);
    else if (exit == LM_EXIT_OK)
        session_lines(list);
    json_decref(list);
    lm_store_close(store);
    return exit;
}

int lm_list_sessions(const struct lm_args *args)
{
    return list_of(args, "sessions", add_session);
}

int lm_list_counts(const struct lm_args *args)
{
    return list_of(args, "counts", add_count);
}
