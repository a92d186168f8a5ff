#include "store/part.h"
#include "store/store_priv.h"

#include "lugmark/decode.h"

#include <stdlib.h>
#include <string.h>

/*
 * ?1 the text, ?2 its code or NULL, ?3 it folded as a visual number or NULL,
 * ?4 and ?5 the LIKE patterns of the text and of the folded text, ?6 the most to give,
 * ?7 in the second one: who can hold the text (part.c); the mob is asked beforehand.
 * Rank: 0 the key, 1 the code, 2 a number or chip worn, 3 one removed, 8 a part of anything.
 */
#define EXACT                                                                                      \
    "SELECT id FROM ("                                                                             \
    "SELECT id, 0 AS rank FROM animal WHERE key = ?1 "                                             \
    "UNION ALL SELECT animal_id, 1 FROM device WHERE eid = ?2 AND gone = 0 "                       \
    "UNION ALL SELECT animal_id, 3 FROM device WHERE eid = ?2 AND gone = 1 "                       \
    "UNION ALL SELECT animal_id, 2 + gone FROM device WHERE visual_fold = ?3 "                     \
    "AND visual_fold <> '' "                                                                       \
    "UNION ALL SELECT a.id, CASE WHEN a.key = ?1 COLLATE NOCASE THEN 1 ELSE 8 END FROM animal a "
#define OF_DEVICE                                                                                  \
    "UNION ALL SELECT animal_id, CASE WHEN uid <> '' AND uid = ?1 COLLATE NOCASE THEN 2 + gone "   \
    "ELSE 8 END FROM device WHERE "
#define HOLDS                                                                                      \
    "(visual LIKE ?4 ESCAPE '\\' OR visual_fold LIKE ?5 ESCAPE '\\' "                              \
    "OR uid LIKE ?5 ESCAPE '\\' OR (eid IS NOT NULL AND "                                          \
    "printf('%03d%012d', eid >> 38, eid & 274877906943) LIKE ?5 ESCAPE '\\'))"
#define IN_ORDER                                                                                   \
    ") AS hit WHERE (SELECT struck FROM animal WHERE animal.id = hit.id) = 0 "                     \
    "GROUP BY id ORDER BY min(rank), id LIMIT ?6"

static const char find_sql[] =
    EXACT "LEFT JOIN mob m ON m.id = a.mob_id WHERE a.key LIKE ?4 ESCAPE '\\' "
          "OR a.breed LIKE ?4 ESCAPE '\\' OR m.name LIKE ?4 ESCAPE '\\' " OF_DEVICE HOLDS IN_ORDER;

static const char find_among_sql[] =
    EXACT "WHERE a.id IN (SELECT value FROM json_each(?7)) "
          "AND (a.key LIKE ?4 ESCAPE '\\' OR a.breed LIKE ?4 ESCAPE '\\') " OF_DEVICE
          "animal_id IN (SELECT value FROM json_each(?7)) AND " HOLDS IN_ORDER;

/* %TEXT% with what LIKE takes as a sign escaped. @p out holds 2 * strlen(text) + 3. */
static void like_pattern(const char *text, char *out)
{
    size_t n = 0;
    out[n++] = '%';
    for (const char *c = text; *c != '\0'; c++) {
        if (*c == '%' || *c == '_' || *c == '\\')
            out[n++] = '\\';
        out[n++] = *c;
    }
    out[n++] = '%';
    out[n] = '\0';
}

struct query {
    const char *text; /* as it is looked for */
    bool known;       /* it is a code, too */
    struct lm_eid eid;
    char uid[LM_EID_TEXT_SIZE];
    char fold[LM_VISUAL_MAX + 1];
    char pattern[2 * LM_VISUAL_MAX + 4];
    char fold_pattern[2 * LM_VISUAL_MAX + 4];
};

static void make_query(struct query *q, const char *text)
{
    struct lm_decoded code = {0};
    q->known = lm_decode(text, strlen(text), &code, NULL) == LM_OK;
    q->eid = code.eid;
    q->text = text;
    if (q->known && code.eid.known == LM_EID_UID) /* chips are kept without the word before */
        q->text = lm_eid_format(code.eid, q->uid) + strlen("uid:");
    lm_visual_fold(q->text, q->fold);
    like_pattern(q->text, q->pattern);
    like_pattern(q->fold, q->fold_pattern);
}

static void bind_query(sqlite3_stmt *st, const struct query *q, unsigned limit, const char *among)
{
    struct lm_bind b = {st, 0};
    lm_bind_text(&b, q->text);
    if (q->known)
        lm_bind_int(&b, (int64_t) lm_eid_key(q->eid));
    else
        lm_bind_null(&b);
    /* A text of signs only, such as "-", folds to nothing; nothing is part of every number. */
    lm_bind_opt(&b, q->fold);
    lm_bind_text(&b, q->pattern);
    if (q->fold[0] != '\0')
        lm_bind_text(&b, q->fold_pattern);
    else
        lm_bind_null(&b);
    lm_bind_int(&b, limit == 0 ? -1 : (int64_t) limit);
    if (among != NULL)
        lm_bind_text(&b, among);
}

struct rows {
    int64_t *row;
    size_t n, room;
};

static enum lm_err collect(struct lm_store *s, sqlite3_stmt *st, struct rows *rows)
{
    int rc = SQLITE_DONE;
    while ((rc = sqlite3_step(st)) == SQLITE_ROW) {
        if (rows->n == rows->room) {
            size_t room = rows->room != 0 ? rows->room * 2 : 64;
            int64_t *grown = realloc(rows->row, room * sizeof *grown);
            if (grown == NULL)
                return lm_problem_set(&s->problem, LM_ENOMEM, NULL, "out of memory");
            rows->row = grown;
            rows->room = room;
        }
        rows->row[rows->n++] = sqlite3_column_int64(st, 0);
    }
    return rc == SQLITE_DONE ? LM_OK : lm_store_fail(s, "looking for animals");
}

/* Some mob's name holds the text: then all of its animals are meant. */
static bool names_mob(struct lm_store *s, const char *pattern)
{
    sqlite3_stmt *st =
        lm_store_prepare(s, "SELECT 1 FROM mob WHERE name LIKE ? ESCAPE '\\' LIMIT 1");
    if (st == NULL)
        return true;
    sqlite3_bind_text(st, 1, pattern, -1, SQLITE_STATIC);
    bool named = sqlite3_step(st) != SQLITE_DONE;
    sqlite3_finalize(st);
    return named;
}

static enum lm_err find(
    struct lm_store *s, const char *text, unsigned limit, lm_record_fn *fn, void *ctx)
{
    struct query q;
    struct rows rows = {0};
    struct lm_record rec;
    make_query(&q, text);
    char *among = names_mob(s, q.pattern) ? NULL : lm_store_part_rows(s, q.fold);
    sqlite3_stmt *st = lm_store_prepare(s, among != NULL ? find_among_sql : find_sql);
    if (st != NULL)
        bind_query(st, &q, limit, among);
    enum lm_err err = st != NULL ? collect(s, st, &rows) : s->problem.err;
    sqlite3_finalize(st);
    free(among);
    for (size_t i = 0; i < rows.n && err == LM_OK; i++) {
        err = lm_store_load(s, rows.row[i], &rec);
        if (err == LM_OK)
            err = fn(&rec, 0, ctx);
    }
    free(rows.row);
    return err;
}

enum lm_err lm_store_find(
    struct lm_store *store, const char *text, unsigned limit, lm_record_fn *fn, void *ctx)
{
    bool own = false;
    enum lm_err err = lm_store_fresh(store);
    if (err != LM_OK || strlen(text) > LM_VISUAL_MAX)
        return err; /* longer than anything kept: nothing holds it */
    err = lm_store_read_begin(store, &own);
    if (err != LM_OK)
        return err;
    err = find(store, text, limit, fn, ctx);
    lm_store_read_end(store, own);
    return err;
}
