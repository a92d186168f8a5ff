/* Explanations for a person, and the commands that mend. */
#include "lugmark/report.h"
#include "report/titles.h"
#include "report/tongue.h"

#include <stdlib.h>
#include <string.h>

#define LIST_MAX 200u /* longer lists are cut on paper; the JSON has them all */
#define NAMES_MAX 12u /* animals of a run named on one line */

static void write_head(FILE *out, const struct lm_roll *roll, const struct lm_explanation *e)
{
    char code[LM_EID_TEXT_SIZE];
    for (uint32_t i = 0; i < e->n_animals && i < NAMES_MAX; i++)
        fprintf(out, "%s%s", i ? ", " : "", lm_roll_animal(roll, e->animals[i]).key);
    if (e->n_animals > NAMES_MAX)
        fprintf(out, _(" and %u more"), e->n_animals - NAMES_MAX);
    if (e->n_animals)
        fputs(": ", out);
    fputs(_(lm_explain_kind_title(e->kind)), out);
    if (e->kind == LM_EX_SHIFTED_RUN)
        fprintf(out, _(" by %d"), e->offset);
    if (e->sighting)
        fprintf(out, _(", called %s"), e->sighting);
    if (e->as)
        fprintf(out, _(" for %s"), e->as);
    for (uint32_t i = 0; i < e->n_eid && e->n_eid <= 2; i++)
        fprintf(out, "  %s", lm_eid_format(e->eid[i], code));
    putc('\n', out);
}

static void write_one(FILE *out, const struct lm_session *session, const struct lm_explanation *e,
    uint32_t id, int64_t row)
{
    char fix[LM_FIX_MAX];
    /* Nothing is certain: what rounds to a hundred is more than 99. */
    bool over = e->probability > 0.995;
    fprintf(out, "  X%-4u %s%*.0f %%  ", id, over ? ">" : "", over ? 2 : 3,
        over ? 99.0 : e->probability * 100.0);
    write_head(out, lm_session_roll(session), e);
    for (uint32_t k = 0; k < e->n_because; k++)
        fprintf(out, "               %s\n", e->because[k]);
    if (lm_explain_fix(session, e, id, row, fix)[0])
        fprintf(out, _("               to mend: %s\n"), fix);
}

enum lm_err lm_report_explain_text(FILE *out, const struct lm_session *session,
    const struct lm_explain *x, const struct lm_explain_view *view)
{
    uint32_t n = lm_explain_count(x), shown = 0, more = 0;
    char basis[LM_EXPLAIN_BASIS_MAX];
    if (n)
        fputs(_("\nWhat most likely happened\n"), out);
    for (uint32_t i = 0; i < n; i++) {
        if (view && view->skip && view->skip[i])
            continue;
        if (shown++ >= LIST_MAX) {
            more++;
            continue;
        }
        write_one(out, session, lm_explain_at(x, i), i + 1, view ? view->session : 0);
    }
    if (more)
        fprintf(out, _("  ... and %u more; --json lists them all\n"), more);
    if (n)
        fprintf(out, "  %s\n", lm_explain_basis(x, basis));
    return ferror(out) ? LM_EIO : LM_OK;
}

/** Append a word as a shell takes it: in quotes where anything but plain characters is in it. */
static void add_word(char *out, const char *word)
{
    size_t used = strlen(out);
    const char *plain = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789._+:@/-";
    bool quote = !word[0] || strspn(word, plain) != strlen(word);
    if (used && used + 2 < LM_FIX_MAX)
        out[used++] = ' ';
    if (quote && used + 1 < LM_FIX_MAX)
        out[used++] = '\'';
    for (; *word && used + 6 < LM_FIX_MAX; word++) {
        if (*word == '\'') {
            memcpy(out + used, "'\\''", 4);
            used += 4;
        } else {
            out[used++] = *word;
        }
    }
    if (quote && used + 1 < LM_FIX_MAX)
        out[used++] = '\'';
    out[used] = '\0';
}

static struct lm_eid old_code(const struct lm_session *session, uint32_t animal)
{
    const struct lm_roll *roll = lm_session_roll(session);
    uint32_t n = lm_roll_animal(roll, animal).n_devices;
    for (uint32_t k = 0; k < n; k++) {
        struct lm_roll_device d = lm_roll_device(roll, animal, k);
        if (!d.gone && d.eid.known)
            return d.eid;
    }
    return (struct lm_eid){0};
}

static void retag(
    const struct lm_session *session, const struct lm_explanation *e, const char *reason, char *out)
{
    char code[LM_EID_TEXT_SIZE];
    struct lm_eid old = old_code(session, e->animals[0]);
    add_word(out, "lugmark");
    add_word(out, "retag");
    add_word(out, lm_roll_animal(lm_session_roll(session), e->animals[0]).key);
    if (old.known) {
        add_word(out, "--old");
        add_word(out, lm_eid_format(old, code));
    }
    add_word(out, "--reason");
    add_word(out, reason);
    if (e->kind != LM_EX_NEW_DEVICE)
        return;
    add_word(out, "--eid");
    add_word(out, lm_eid_format(e->eid[0], code));
    const char *number = e->printed ? e->printed : e->as ? e->as : e->sighting;
    if (number) {
        add_word(out, "--visual");
        add_word(out, number);
    }
}

const char *lm_explain_fix(const struct lm_session *session, const struct lm_explanation *e,
    uint32_t id, long long row, char out[LM_FIX_MAX])
{
    out[0] = '\0';
    switch (e->kind) {
    case LM_EX_NEW_DEVICE:
        retag(session, e, "lost", out);
        break;
    case LM_EX_FAILED_EID:
        retag(session, e, "unreadable", out);
        break;
    case LM_EX_SWAPPED:
    case LM_EX_SHIFTED_RUN:
        if (e->n_animals > 1 && row > 0)
            snprintf(out, LM_FIX_MAX, "lugmark explain %lld --accept X%u", row, id);
        else if (e->n_animals > 1)
            snprintf(out, LM_FIX_MAX, "lugmark explain --accept X%u", id);
        break;
    case LM_EX_MISREAD:
    case LM_EX_STRANGER:
    case LM_EX_ABSENT:
    case LM_EX_KINDS:
        break; /* the register is right as it is */
    }
    return out;
}
