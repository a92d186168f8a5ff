/* UIDs of chips in the register and in the journal, and files from before the journal took them. */
#include "store_help.h"

static struct lm_eid uid_of(const char *hex)
{
    struct lm_eid eid = {0};
    assert_int_equal(lm_eid_from_uid(hex, strlen(hex), &eid), LM_OK);
    return eid;
}

static const char *const uids[] = {"00000001", "04A1B2C3D4E5F6", "E004000000000001"};

struct seen {
    unsigned n;
};

static enum lm_err same_again(const struct lm_event *ev, void *ctx)
{
    struct seen *seen = ctx;
    if (ev->kind != LM_EVENT_READING)
        return LM_OK;
    struct lm_eid want = uid_of(uids[seen->n++ % 3]);
    assert_int_equal(ev->eid.known, LM_EID_UID);
    assert_true(ev->eid.bits == want.bits);
    return LM_OK;
}

static void append(struct lm_store *s, int64_t *session, const struct lm_event *ev)
{
    if (lm_store_append(s, session, ev, NULL, NULL) != LM_OK)
        fail_msg("%s", lm_store_problem(s)->what);
}

static void open_session(struct lm_store *s, int64_t *session)
{
    struct lm_open open = {.kind = LM_WALK};
    struct lm_event ev = {.kind = LM_EVENT_OPEN, .t_ms = T0, .clock_ms = 0, .open = &open};
    append(s, session, &ev);
}

static void the_journal_keeps_them(void **state)
{
    struct help *h = *state;
    int64_t session = 0;
    struct seen seen = {0};
    assert_int_equal(lm_store_begin(h->s), LM_OK);
    open_session(h->s, &session);
    for (size_t i = 0; i < 3; i++) {
        struct lm_event ev = {.kind = LM_EVENT_READING, .t_ms = T0, .eid = uid_of(uids[i])};
        append(h->s, &session, &ev);
    }
    assert_int_equal(lm_store_commit(h->s), LM_OK);
    help_reopen(h);
    assert_int_equal(lm_store_events(h->s, session, 0, same_again, &seen), LM_OK);
    assert_int_equal(seen.n, 3);
    sound(h->path);
}

static enum lm_err name_it(const struct lm_record *rec, long line, void *ctx)
{
    char *out = ctx;
    (void) line;
    snprintf(out, LM_NAME_MAX + 1, "%s", rec->key);
    return LM_OK;
}

static void found_with_and_without_the_word(void **state)
{
    struct help *h = *state;
    struct lm_record rec = animal("A1", 1, "0417");
    char key[LM_NAME_MAX + 1];
    snprintf(rec.devices[0].uid, sizeof rec.devices[0].uid, "04A1B2C3D4E5F6");
    put_ok(h->s, &rec);
    static const char *const words[] = {
        "uid:04A1B2C3D4E5F6", "UID: 04:a1:b2:c3:d4:e5:f6", "04a1b2c3d4e5f6"};
    for (size_t i = 0; i < 3; i++) {
        key[0] = '\0';
        assert_int_equal(lm_store_find(h->s, words[i], 0, name_it, key), LM_OK);
        assert_string_equal(key, "A1");
    }
    key[0] = '\0';
    assert_int_equal(lm_store_find(h->s, "uid:DEADBEEF", 0, name_it, key), LM_OK);
    assert_string_equal(key, "");
}

static void no_devices_code_is_a_uid(void **state)
{
    struct help *h = *state;
    struct lm_record rec = animal("A1", 0, "0417");
    rec.devices[0].eid = uid_of("04A1B2C3D4E5F6");
    assert_int_equal(lm_store_put(h->s, &rec, T0, "", NULL), LM_EARG);
    says(lm_store_problem(h->s), "code cannot exist");
}

/* A file of the first version, written by hand: today's statements may know columns it has not. */
static const char old_rows[] =
    "INSERT INTO animal VALUES(1, 'A1', '', '', 0, 0, '', '', '', NULL, 0, '');"
    "INSERT INTO session VALUES(1, '', 0, '', '', '', '', 5, NULL, 2, NULL);"
    "INSERT INTO event(seq, kind, t_ms, animal_id, why) VALUES(1, 6, 4, 1, 'w');"
    "INSERT INTO event(seq, session_id, kind, t_ms, clock_ms) VALUES(2, 1, 4, 5, 0);"
    "INSERT INTO event(seq, session_id, kind, t_ms, clock_ms, lane, reader, bits, known, doubt,"
    " text, cut, heads, token) VALUES(3, 1, 0, 6, 1, 'l', 'r', -9, 2, 1, 'x', 1, 7, 'token');"
    "INSERT INTO event(seq, session_id, kind, t_ms, body) VALUES(9, 1, 0, 6, 'b');";

#define OLD_COLUMNS                                                                                \
    "seq, session_id, kind, t_ms, clock_ms, lane, reader, bits, known, doubt, text, cut, heads, "  \
    "animal_id, body, why, token"

static void older_journals_learn_it(void **state)
{
    struct help *h = *state;
    const struct lm_schema first = {lm_store_schema.steps, 1};
    char path[160], sql[800];
    struct lm_store *s = NULL;
    struct lm_problem p;
    int64_t session = 1;
    static const char chip[] = "INSERT INTO event(kind, bits, known) VALUES(0, 1, 3)";
    snprintf(path, sizeof path, "%s/old.db", h->dir);
    assert_int_equal(lm_store_open_schema(path, LM_STORE_CREATE, &first, &s, &p), LM_OK);
    lm_store_close(s);
    assert_int_equal(sql_of(path, old_rows), SQLITE_OK);
    assert_int_not_equal(sql_of(path, chip), SQLITE_OK); /* why there is a second step */
    snprintf(sql, sizeof sql,
        "ATTACH '%s/kept.db' AS kept; CREATE TABLE kept.event AS SELECT " OLD_COLUMNS
        " FROM main.event",
        h->dir);
    assert_int_equal(sql_of(path, sql), SQLITE_OK);

    s = must_open(path, LM_STORE_WRITE);
    assert_int_equal(lm_store_last_seq(s), 9);
    struct lm_event ev = {.kind = LM_EVENT_READING, .t_ms = T0, .eid = uid_of(uids[0])};
    assert_int_equal(lm_store_append(s, &session, &ev, "token", NULL), LM_EEXISTS);
    assert_int_equal(lm_store_begin(s), LM_OK);
    append(s, &session, &ev);
    assert_int_equal(lm_store_commit(s), LM_OK);
    assert_int_equal(lm_store_last_seq(s), 10);
    lm_store_close(s);
    /* Every row as it was, in every column. */
    snprintf(sql, sizeof sql,
        "ATTACH '%s/kept.db' AS kept; CREATE TABLE kept.lost(n CHECK(n = 0)); "
        "INSERT INTO kept.lost SELECT count(*) FROM (SELECT " OLD_COLUMNS " FROM kept.event "
        "EXCEPT SELECT " OLD_COLUMNS " FROM main.event)",
        h->dir);
    assert_int_equal(sql_of(path, sql), SQLITE_OK);
}

#define WITH(f) cmocka_unit_test_setup_teardown(f, help_setup, help_teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH(the_journal_keeps_them),
        WITH(found_with_and_without_the_word),
        WITH(no_devices_code_is_a_uid),
        WITH(older_journals_learn_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
