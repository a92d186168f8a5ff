/* Findings: fetched from the daemon as JSON, or folded again from the register. */
#include "findings_out.h"

#include <inttypes.h>
#include <string.h>

#include "lugmark/report.h"
#include "open_db.h"
#include "out_json.h"
#include "problem.h"
#include "verdict.h"

#define LIST_MAX 200u /* longer lists are cut for people; --json has them all */

static void texts(FILE *out, const json_t *object, const char *key, const char *before)
{
    const json_t *list = json_object_get(object, key);
    char text[LM_VISUAL_MAX + 1];
    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *one = json_array_get(list, i);
        if (!json_is_string(one))
            continue;
        lm_text_copy(text, sizeof text, json_string_value(one), json_string_length(one));
        fprintf(out, "%s%s", before, text);
    }
}

static void optional(
    FILE *out, const json_t *object, const char *key, const char *before, const char *after)
{
    char text[LM_VISUAL_MAX + 1];
    if (lm_json_text(object, key, text, sizeof text)[0] != '\0')
        fprintf(out, "%s%s%s", before, text, after);
}

static void finding(FILE *out, const json_t *f)
{
    char attention[16], reason_text[64];
    enum lm_reason reason;
    lm_json_text(f, "attention", attention, sizeof attention);
    lm_json_text(f, "reason", reason_text, sizeof reason_text);
    fprintf(out, "  %-4s", attention);
    optional(out, f, "animal", "  ", "");
    texts(out, f, "visual", "  no. ");
    texts(out, f, "eid", "  ");
    optional(out, f, "text", "  \"", "\"");
    optional(out, f, "other", "  and ", "");
    if (lm_json_int(f, "times", 1) > 1)
        fprintf(out, "  (%" PRId64 " times)", lm_json_int(f, "times", 1));
    if (lm_reason_parse(reason_text, &reason) == LM_OK)
        fprintf(out, "  - %s", lm_reason_say(reason));
    else
        fprintf(out, "  - %s", reason_text);
    optional(out, f, "t", "  ", "");
    fputc('\n', out);
}

static void figures(FILE *out, const json_t *o)
{
    const json_t *bounds = json_object_get(o, "bounds");
    int64_t heads = lm_json_int(o, "heads", -1), most = lm_json_int(bounds, "absent_max", 0);
    fprintf(out, "  in the book, expected here  %" PRId64 "\n", lm_json_int(o, "expected", 0));
    if (heads >= 0)
        fprintf(out, "  heads counted               %" PRId64 "\n", heads);
    else
        fputs("  heads counted               not said\n", out);
    fprintf(out, "  animals identified          %" PRId64 " (%" PRId64 " of those expected)\n",
        lm_json_int(o, "identified", 0), lm_json_int(o, "present", 0));
    fprintf(out, "  readings %" PRId64 ", passes %" PRId64 "\n", lm_json_int(o, "readings", 0),
        lm_json_int(o, "passes", 0));
    if (lm_json_true(o, "heads_below_identified"))
        fputs("LOOK: fewer heads counted than animals identified: somebody miscounted.\n", out);
    if (most > 0)
        fprintf(out,
            "Not seen is not absent: of %" PRId64 " not seen, between %" PRId64 " and %" PRId64
            " are truly away.\n",
            most, lm_json_int(bounds, "absent_min", 0), most);
}

static void list(FILE *out, const json_t *o)
{
    const json_t *all = json_object_get(o, "findings"), *counts = json_object_get(o, "counts");
    char kind[32], last[32] = "";
    size_t shown = 0;
    for (size_t i = 0; i < json_array_size(all); i++) {
        const json_t *f = json_array_get(all, i);
        lm_json_text(f, "kind", kind, sizeof kind);
        if (strcmp(kind, last) != 0) {
            fprintf(out, "\n%s: %" PRId64 "\n", kind, lm_json_int(counts, kind, 0));
            memcpy(last, kind, sizeof last);
            shown = 0;
        }
        if (shown++ < LIST_MAX)
            finding(out, f);
        else if (shown == LIST_MAX + 1)
            fputs("  ... and more; --json lists them all\n", out);
    }
    if (json_array_size(all) == 0)
        fputs("\nNothing flagged.\n", out);
}

void lm_findings_text(FILE *out, const json_t *findings)
{
    fputs("Session: ", out);
    lm_session_line(out, json_object_get(findings, "session"));
    fputc('\n', out);
    figures(out, findings);
    list(out, findings);
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

int lm_findings_show(const struct lm_args *args, json_t *findings)
{
    if (lm_arg_given(args, "json"))
        lm_json_line(stdout, json_incref(findings));
    else
        lm_findings_text(stdout, findings);
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
        exit = lm_fail(LM_EXIT_INPUT, NULL, "there is no session %lld", (long long) id);
    else if (err == LM_ENOTFOUND)
        exit = lm_fail(LM_EXIT_INPUT, "open one with lugmark open", "there is no session yet");
    else
        exit = err == LM_OK ? report(args, store, &s) : lm_db_fail(store);
    lm_store_close(store);
    return exit;
}
