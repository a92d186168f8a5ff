/* What the commands for the comings and goings of animals share. */
#include "life.h"

#include <stdlib.h>
#include <string.h>

#include "fields.h"
#include "lugmark/eventline.h"
#include "open_db.h"
#include "problem.h"
#include "record_text.h"
#include "report/tongue.h"

struct lm_date lm_life_today(void)
{
    struct lm_date here = lm_today(), utc = lm_date_of(lm_now_ms());
    return lm_date_days(here, 0) > lm_date_days(utc, 0) ? here : utc;
}

bool lm_life_future(struct lm_date date)
{
    return date.year != 0 && lm_date_days(date, 0) > lm_date_days(lm_life_today(), 0);
}

int lm_life_date(const struct lm_args *args, const char *name, struct lm_date *date)
{
    const char *text = lm_arg(args, name);
    if (text == NULL)
        return LM_EXIT_OK;
    if (text[0] == '\0' || lm_date_parse(text, strlen(text), date) != LM_OK)
        return lm_fail(LM_EXIT_INPUT, _("write 2026, 2026-03 or 2026-03-28"),
            _("--%s cannot be \"%s\""), name, text);
    if (lm_life_future(*date))
        return lm_fail(LM_EXIT_INPUT, _("enter it when it has happened"),
            _("--%s %s lies in the future"), name, text);
    return LM_EXIT_OK;
}

static int make_why(struct lm_life *life, const char *done, const char *more)
{
    char date[LM_DATE_TEXT_SIZE], text[512];
    const char *why = lm_arg(life->args, "why");
    bool has_more = more != NULL && more[0] != '\0', has_why = why != NULL && why[0] != '\0';
    int len = snprintf(text, sizeof text, "%s %s%s%s%s%s", done, lm_date_format(life->date, date),
        has_more ? " " : "", has_more ? more : "", has_why ? ": " : "", has_why ? why : "");
    if (len < 0 || (size_t) len >= sizeof life->why ||
        !lm_text_copy(life->why, sizeof life->why, text, (size_t) len))
        return lm_usage(life->args, "the reason is too long or is not clean text");
    return LM_EXIT_OK;
}

int lm_life_begin(
    struct lm_life *life, const struct lm_args *args, const char *done, const char *more)
{
    *life = (struct lm_life){.args = args, .date = lm_date_of(lm_now_ms())};
    int exit = lm_life_date(args, "date", &life->date);
    if (exit == LM_EXIT_OK)
        exit = make_why(life, done, more);
    if (exit == LM_EXIT_OK)
        exit = lm_db_open(args, LM_STORE_WRITE, &life->store);
    if (exit != LM_EXIT_OK)
        return exit;
    life->rec = calloc(1, sizeof *life->rec);
    if (life->rec == NULL)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    if (lm_store_begin(life->store) != LM_OK)
        return lm_db_fail(life->store);
    lm_store_one_change(life->store);
    return LM_EXIT_OK;
}

int lm_life_keep(struct lm_life *life)
{
    if (!life->kept && lm_store_commit(life->store) != LM_OK)
        return lm_db_fail(life->store);
    life->kept = true;
    return LM_EXIT_OK;
}

int lm_life_end(struct lm_life *life, int exit)
{
    if (life->store != NULL && exit == LM_EXIT_OK)
        exit = lm_life_keep(life);
    lm_store_rollback(life->store); /* after a commit there is nothing left to take back */
    lm_store_close(life->store);
    free(life->rec);
    return exit;
}

int lm_life_animal(struct lm_life *life, const char *word)
{
    return lm_db_animal(life->store, word, life->rec);
}

int lm_life_show(const struct lm_args *args, const struct lm_record *rec)
{
    if (!lm_arg_given(args, "json")) {
        lm_record_line(stdout, rec);
        return LM_EXIT_OK;
    }
    char *text = lm_record_json(rec);
    if (text == NULL)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    puts(text);
    free(text);
    return LM_EXIT_OK;
}

int lm_life_put(struct lm_life *life)
{
    if (lm_store_put(life->store, life->rec, lm_now_ms(), life->why, NULL) != LM_OK)
        return lm_db_fail(life->store);
    return LM_EXIT_OK;
}

bool lm_life_before_birth(const struct lm_record *rec, struct lm_date date, const char *what)
{
    char born[LM_DATE_TEXT_SIZE], text[LM_DATE_TEXT_SIZE];
    if (rec->born.year == 0 || date.year == 0 ||
        lm_date_days(date, 1) >= lm_date_days(rec->born, 0))
        return false;
    lm_fail(LM_EXIT_INPUT, _("correct one of the two dates"),
        _("animal %s was born %s, so it cannot have been %s %s"), rec->key,
        lm_date_format(rec->born, born), what, lm_date_format(date, text));
    return true;
}

static int step_allowed(
    const struct lm_status_step *step, const struct lm_record *rec, struct lm_date date)
{
    char since[LM_DATE_TEXT_SIZE], text[LM_DATE_TEXT_SIZE];
    const char *is = lm_status_name((enum lm_status) rec->status);
    lm_date_format(rec->status_date, since);
    if ((step->from >> rec->status & 1u) == 0)
        return lm_fail(LM_EXIT_INPUT, step->mend, "animal %s is %s%s%s", rec->key, is,
            since[0] != '\0' ? " since " : "", since);
    if (lm_life_before_birth(rec, date, step->done))
        return LM_EXIT_INPUT;
    if (rec->status_date.year != 0 && lm_date_days(date, 1) < lm_date_days(rec->status_date, 0))
        return lm_fail(LM_EXIT_INPUT, _("correct one of the two dates"),
            "animal %s is %s since %s, so it cannot have been %s %s", rec->key, is, since,
            step->done, lm_date_format(date, text));
    return LM_EXIT_OK;
}

static int step_one(struct lm_life *life, const struct lm_status_step *step, const char *word)
{
    int exit = lm_life_animal(life, word);
    if (exit == LM_EXIT_OK)
        exit = step_allowed(step, life->rec, life->date);
    if (exit != LM_EXIT_OK)
        return exit;
    life->rec->status = (uint8_t) step->to;
    life->rec->status_date = life->date;
    return lm_life_put(life);
}

int lm_life_keep_and_show(struct lm_life *life)
{
    int exit = lm_life_keep(life);
    for (size_t i = 0; i < life->args->n_rest && exit == LM_EXIT_OK; i++) {
        exit = lm_life_animal(life, life->args->rest[i]);
        if (exit == LM_EXIT_OK)
            exit = lm_life_show(life->args, life->rec);
    }
    return exit;
}

int lm_status_run(const struct lm_args *args, const struct lm_status_step *step, const char *more)
{
    struct lm_life life;
    int exit = lm_life_begin(&life, args, step->done, more);
    for (size_t i = 0; i < args->n_rest && exit == LM_EXIT_OK; i++)
        exit = step_one(&life, step, args->rest[i]);
    if (exit == LM_EXIT_OK)
        exit = lm_life_keep_and_show(&life);
    return lm_life_end(&life, exit);
}
