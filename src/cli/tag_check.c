/* What is odd about a kid that is tagged: its age, its dates, its dam. */
#include "tag.h"

#include <stdlib.h>
#include <string.h>

#include "lugmark/family.h"
#include "open_db.h"
#include "problem.h"
#include "report/tongue.h"

/* Common practice: in the first week the ear is thin and the kid easy to hold. */
#define LATE_DAYS 7

/* The week is that of a kid's first ear tag; a grown animal may get another device at any age. */
static bool is_first_ear_mark(const struct lm_record *kid, const struct lm_device *device)
{
    bool ear = device->form <= LM_LOOP_TAG || device->form == LM_TATTOO;
    for (unsigned i = 0; ear && i < kid->n_devices; i++)
        if (&kid->devices[i] != device)
            return false;
    return ear;
}

/* No warning: a register with such a date could not be read back from its own export. */
static int refuse_future(const struct lm_record *kid, const struct lm_device *device)
{
    char date[LM_DATE_TEXT_SIZE];
    bool born = lm_life_future(kid->born);
    if (!born && !lm_life_future(device->applied))
        return LM_EXIT_OK;
    return lm_fail(LM_EXIT_INPUT, "correct the date, or the clock of this machine",
        "the date %s lies in the future", lm_date_format(born ? kid->born : device->applied, date));
}

static void check_dates(
    const struct lm_record *kid, const struct lm_device *device, struct lm_warnings *w)
{
    char born[LM_DATE_TEXT_SIZE], applied[LM_DATE_TEXT_SIZE];
    lm_date_format(kid->born, born);
    lm_date_format(device->applied, applied);
    if (kid->born.year == 0 || device->applied.year == 0)
        return;
    int32_t days = lm_date_days(device->applied, 0) - lm_date_days(kid->born, 1);
    if (lm_date_days(device->applied, 1) < lm_date_days(kid->born, 0))
        lm_warn(w, "allow-future", "tagged %s, before its birth %s", applied, born);
    else if (days > LATE_DAYS && is_first_ear_mark(kid, device))
        lm_warn(w, "allow-late",
            "it is %d days old; common practice is to tag within about a week, while the ear is "
            "thin and the kid easy to hold",
            (int) days);
}

struct wearing {
    const char *number;
    struct lm_record *out;
    unsigned n;
};

static enum lm_err take_wearer(const struct lm_record *rec, long line, void *ctx)
{
    struct wearing *f = ctx;
    char fold[LM_VISUAL_MAX + 1], want[LM_VISUAL_MAX + 1];
    bool wears = false;
    (void) line;
    lm_visual_fold(f->number, want);
    for (unsigned i = 0; i < rec->n_devices && !wears; i++)
        wears = !rec->devices[i].gone && lm_visual_fold(rec->devices[i].visual, fold) > 0 &&
                strcmp(fold, want) == 0;
    if (wears && f->n++ == 0)
        *f->out = *rec;
    return LM_OK;
}

/* The dam by key, else the one that wears the number. @return LM_ENOTFOUND: none, or several. */
static enum lm_err find_dam(struct lm_store *store, const char *word, struct lm_record *dam)
{
    struct wearing f = {.number = word, .out = dam};
    enum lm_err err = lm_store_get(store, word, dam);
    if (err != LM_ENOTFOUND)
        return err;
    err = lm_store_find(store, word, 0, take_wearer, &f);
    return err == LM_OK && f.n != 1 ? LM_ENOTFOUND : err;
}

static void check_dam(
    const struct lm_record *kid, const struct lm_record *dam, struct lm_warnings *w)
{
    if (dam->sex == LM_SEX_MALE)
        lm_warn(w, "allow-dam", "the dam %s is entered as a male", dam->key);
    else if (dam->sex == LM_SEX_UNKNOWN)
        lm_warn(w, "allow-dam", "the dam %s is not entered as a female", dam->key);
    if (kid->born.year == 0 || dam->born.year == 0)
        return;
    int32_t most = lm_date_days(kid->born, 1) - lm_date_days(dam->born, 0);
    if (most >= 0 && most < LM_DAM_DAYS_MIN) /* younger than her kid is refused when it is put */
        lm_warn(w, "allow-dam",
            "the dam %s was not five months old at its birth; the carrying time alone is that "
            "long (common practice)",
            dam->key);
}

int lm_tag_check_kid(struct lm_life *life, struct lm_record *kid, const struct lm_device *device,
    struct lm_warnings *warnings)
{
    int exit = refuse_future(kid, device);
    check_dates(kid, device, warnings);
    if (exit != LM_EXIT_OK || kid->dam[0] == '\0')
        return exit;
    struct lm_record *dam = calloc(1, sizeof *dam);
    if (dam == NULL)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    enum lm_err err = find_dam(life->store, kid->dam, dam);
    if (err == LM_OK) {
        snprintf(kid->dam, sizeof kid->dam, "%s", dam->key);
        check_dam(kid, dam, warnings);
    } else if (err == LM_ENOTFOUND) {
        lm_warn(warnings, "allow-dam",
            "no one animal in the register is called or wears %s, its dam", kid->dam);
        err = LM_OK;
    }
    free(dam);
    return err == LM_OK ? LM_EXIT_OK : lm_db_fail(life->store);
}

int lm_tag_cautions(struct lm_life *life)
{
    char last[LM_DATE_TEXT_SIZE + 1], today[LM_DATE_TEXT_SIZE];
    lm_date_format(lm_life_today(), today);
    if (lm_arg_given(life->args, "quiet-cautions"))
        return LM_EXIT_OK;
    if (lm_store_setting(life->store, "tag.cautions", last, sizeof last) != LM_OK)
        return lm_db_fail(life->store);
    if (strcmp(last, today) == 0)
        return LM_EXIT_OK;
    fputs(
        _("Before the first tag of the day (once a day; --quiet-cautions leaves it out):\n"
          "  - Your vet and the label on the packet come first; this is only a reminder.\n"
          "  - The ear clean and dry; tag and pliers clean, too, and the right ones for each "
          "other.\n"
          "  - Between the veins, clear of the head and of the ear's edge, with room to grow.\n"
          "  - The tag must turn freely once it is in.\n"
          "  - Hot, damp weather with flies makes for sore ears: wait if you can, look again in a "
          "week.\n"
          "  - Little disinfectant or fly repellent: the dam must still know her kid by its "
          "smell.\n"),
        stderr);
    return lm_store_set(life->store, "tag.cautions", today) == LM_OK ? LM_EXIT_OK
                                                                     : lm_db_fail(life->store);
}
