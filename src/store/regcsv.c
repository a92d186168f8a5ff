/* Reading a register from CSV: problems, the checks over the whole file, and the order of it all.
 */
#include "regcsv_priv.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

static void tell(struct regcsv *r, struct lm_problem *p)
{
    r->problems++;
    if (r->problems > REGCSV_PROBLEMS_MAX || !r->hooks->problem)
        return;
    snprintf(p->file, sizeof p->file, "%s", r->name);
    r->hooks->problem(p, r->hooks->ctx);
}

void lm_regcsv_bad(struct regcsv *r, enum lm_err err, long line, unsigned field, const char *mend,
    const char *fmt, ...)
{
    struct lm_problem p = {0};
    char what[LM_PROBLEM_TEXT_MAX];
    va_list ap;

    va_start(ap, fmt);
    vsnprintf(what, sizeof what, fmt, ap);
    va_end(ap);
    p.line = line;
    p.column = (long) field;
    lm_problem_set(&p, err, mend, "%s", what);
    tell(r, &p);
}

void lm_regcsv_bad_cell(
    struct regcsv *r, enum lm_err err, enum regcsv_col col, const char *mend, const char *fmt, ...)
{
    char what[LM_PROBLEM_TEXT_MAX];
    va_list ap;

    va_start(ap, fmt);
    vsnprintf(what, sizeof what, fmt, ap);
    va_end(ap);
    /* The user's own name of the column comes first: ours stands nowhere in that file. */
    if (r->their[col][0] && !lm_word_is(r->their[col], lm_regcsv_col_name(col)))
        lm_regcsv_bad(r, err, r->row_line, r->place[col], mend, "%s (%s): %s", r->their[col],
            lm_regcsv_col_name(col), what);
    else
        lm_regcsv_bad(
            r, err, r->row_line, r->place[col], mend, "%s: %s", lm_regcsv_col_name(col), what);
}

static int by_code(const void *a, const void *b)
{
    const struct staged_round *x = a, *y = b;

    if (x->key != y->key)
        return x->key < y->key ? -1 : 1;
    if (x->line != y->line)
        return x->line < y->line ? -1 : 1;
    return 0;
}

/*
 * A spreadsheet keeps 15 digits of a number at most, and fewer when it shows them: many codes then
 * end in zeros and become one. Rows of one animal do not count, a replaced device keeps its code.
 */
static void check_rounded(struct regcsv *r)
{
    struct staged_round *rounds = r->stage.rounds.items;
    uint32_t n = r->stage.rounds.n;

    if (n)
        qsort(rounds, n, sizeof *rounds, by_code);
    for (uint32_t i = 0, next; i < n; i = next) {
        unsigned animals = 1;
        char code[LM_EID_TEXT_SIZE];

        for (next = i + 1; next < n && rounds[next].key == rounds[i].key; next++)
            animals += rounds[next].animal != rounds[next - 1].animal;
        if (animals < 3)
            continue;
        lm_eid_format((struct lm_eid){rounds[i].key, LM_EID_CODE}, code);
        lm_regcsv_bad(r, LM_EDAMAGED, (long) rounds[i].line, r->place[COL_EID],
            "take the codes from a file that no spreadsheet has saved",
            "eid: %u rows carry the code %s: the file went through a spreadsheet and digits are "
            "lost",
            next - i, code);
    }
}

enum lm_err lm_regcsv_told(struct regcsv *r)
{
    struct lm_problem p = {0};

    if (r->err == LM_ENOMEM)
        lm_regcsv_bad(r, LM_ENOMEM, 0, 0, NULL, "not enough memory to read the file");
    if (r->problems > REGCSV_PROBLEMS_MAX && r->hooks->problem) {
        snprintf(p.file, sizeof p.file, "%s", r->name);
        lm_problem_set(&p, LM_EINPUT, "mend those above and try again", "and %lu more problems",
            r->problems - REGCSV_PROBLEMS_MAX);
        r->hooks->problem(&p, r->hooks->ctx);
    }
    if (r->err)
        return r->err;
    return r->problems ? LM_EINPUT : LM_OK;
}

static void header(struct regcsv *r)
{
    if (!r->place[COL_EID] && !r->place[COL_VISUAL])
        lm_regcsv_bad(r, LM_EINPUT, r->row_line, 0,
            "name the column with the electronic codes eid, that with the printed numbers visual",
            "neither a column eid nor a column visual");
}

static const struct regcsv_kind kind = {
    .columns = (UINT32_C(1) << COL_COUNT) - 1,
    .example = "begin it with a line such as animal,eid,visual",
    .header = header,
    .row = lm_regcsv_row,
};

static enum lm_err finish(struct regcsv *r)
{
    enum lm_err err;

    if (!r->err)
        check_rounded(r);
    err = lm_regcsv_told(r);
    return err ? err : lm_stage_name_all(&r->stage);
}

enum lm_err lm_regcsv_read(FILE *in, const char *name, const struct lm_regcsv_hooks *hooks)
{
    struct regcsv *r = calloc(1, sizeof *r);
    char *buf = malloc(REGCSV_PIECE);
    enum lm_err err = LM_ENOMEM;

    if (r && buf && lm_stage_init(&r->stage) == LM_OK) {
        r->kind = &kind;
        r->hooks = hooks;
        r->name = name ? name : "";
        for (int c = 0; c < COL_COUNT; c++)
            r->cell[c] = (struct regcsv_cell){"", 0};
        lm_regcsv_lines(r, in, buf);
        err = finish(r);
        if (r->csv_live)
            csv_free(&r->csv);
        free(r->stage.words.slots); /* not needed while records are handed over */
        free(r->stage.names.slots);
        r->stage.words.slots = r->stage.names.slots = NULL;
        if (!err)
            err = lm_stage_deliver(&r->stage, hooks);
    }
    if (r)
        lm_stage_free(&r->stage);
    free(buf);
    free(r);
    return err;
}
