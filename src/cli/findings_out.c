/* Findings: fetched from the daemon as JSON, or folded again from the register. */
#include "findings_out.h"

#include <inttypes.h>
#include <string.h>

#include "lugmark/report.h"
#include "open_db.h"
#include "out_json.h"
#include "problem.h"
#include "verdict.h"
#include "report/tongue.h"

/* What the daemon wrote for people, whatever it holds: it must not drive the terminal. */
static void write_clean(FILE *out, const char *text)
{
    for (const unsigned char *c = (const unsigned char *) text; *c != '\0'; c++)
        fputc((*c < 0x20 && *c != '\n') || *c == 0x7f ? '?' : *c, out);
}

bool lm_findings_flagged(const json_t *findings)
{
    const char *kind;
    json_t *n;
    json_object_foreach(json_object_get(findings, "counts"), kind, n)
    {
        if (json_is_integer(n) && json_integer_value(n) > 0)
            return true;
    }
    return lm_json_true(findings, "heads_below_identified");
}

int lm_findings_show(const struct lm_args *args, const json_t *answer)
{
    json_t *findings = json_object_get(answer, "findings");
    const char *text = json_string_value(json_object_get(answer, "text"));
    if (lm_arg_given(args, "json") || text == NULL)
        lm_json_line(stdout, json_incref(findings));
    else
        write_clean(stdout, text);
    return lm_findings_flagged(findings) ? LM_EXIT_FLAGGED : LM_EXIT_OK;
}

static int report(
    const struct lm_args *args, struct lm_store *store, const struct lm_store_session *s)
{
    struct lm_replay replay;
    enum lm_err err = lm_replay_session(store, s, NULL, &replay);
    if (err == LM_ENOMEM)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    if (err != LM_OK)
        return lm_db_fail(store);
    err = lm_arg_given(args, "json") ? lm_report_json(stdout, replay.session)
                                     : lm_report_text(stdout, replay.session);
    int exit = lm_report_flagged(replay.session) ? LM_EXIT_FLAGGED : LM_EXIT_OK;
    lm_replay_free(&replay);
    return err == LM_ENOMEM ? lm_fail(LM_EXIT_FAILED, NULL, "out of memory") : exit;
}

int lm_findings_stored(const struct lm_args *args, int64_t id)
{
    struct lm_store *store = NULL;
    struct lm_store_session s = {0};
    int exit = lm_db_open(args, LM_STORE_READ, &store);
    if (exit != LM_EXIT_OK)
        return exit;
    enum lm_err err = lm_store_session(store, id, &s);
    if (err == LM_ENOTFOUND && id > 0)
        exit = lm_fail(LM_EXIT_INPUT, NULL, _("there is no session %lld"), (long long) id);
    else if (err == LM_ENOTFOUND)
        exit =
            lm_fail(LM_EXIT_INPUT, _("open one with lugmark open"), _("there is no session yet"));
    else
        exit = err == LM_OK ? report(args, store, &s) : lm_db_fail(store);
    lm_store_close(store);
    return exit;
}
