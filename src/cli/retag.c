/* lugmark retag: a new device in the place of an old one, with the old one kept. */
#include "command.h"

#include <string.h>

#include "device_pick.h"
#include "fields.h"
#include "life.h"
#include "marks.h"
#include "open_db.h"
#include "problem.h"
#include "record_text.h"
#include "report/tongue.h"

/* The code of the old device with a higher retagging counter: the same animal, a new transponder.
 */
static int same_code(const struct lm_args *args, const struct lm_device *old, struct lm_device *new)
{
    long counter = 0;
    if (!lm_arg_number(args, "retag-counter", 1, 7, &counter))
        return LM_EXIT_USAGE;
    bool same = lm_eid_key(new->eid) != 0 && lm_eid_key(new->eid) == lm_eid_key(old->eid);
    if (counter != 0 && new->eid.known == LM_EID_NONE) {
        new->eid = old->eid;
        same = true;
    }
    if (counter != 0 && (!same || lm_eid_key(old->eid) == 0))
        return lm_fail(LM_EXIT_INPUT, "leave --retag-counter out, or give the old code",
            "--retag-counter goes with the code of the old device");
    if (counter != 0) {
        struct lm_eid_fields f = lm_eid_unpack(new->eid);
        f.retag = (uint8_t) counter;
        if (lm_eid_pack(&f, &new->eid) != LM_OK)
            return lm_fail(LM_EXIT_INPUT, NULL, "the code cannot carry that counter");
    }
    if (same && lm_eid_retag(new->eid) <= lm_eid_retag(old->eid))
        return lm_fail(LM_EXIT_INPUT,
            "give --retag-counter N (1 to 7, higher than before), or all 16 hex digits as read",
            "a new device with the old code has a higher retagging counter than %u",
            lm_eid_retag(old->eid));
    return LM_EXIT_OK;
}

/* What nobody said of the new device is as it was on the old one. */
static void inherit(const struct lm_args *args, const struct lm_device *old, struct lm_device *new)
{
    if (new->form == LM_DEVICE_UNKNOWN)
        new->form = old->form;
    if (new->place == LM_PLACE_UNKNOWN)
        new->place = old->place;
    if (new->colour[0] == '\0' && !lm_arg_given(args, "colour"))
        snprintf(new->colour, sizeof new->colour, "%s", old->colour);
    if (!lm_arg_given(args, "official") && !lm_arg_given(args, "strip"))
        new->official = old->official;
}

/* The date of the change is that of both, unless the new device is said to be older. */
static int make_new(struct lm_life *life, const struct lm_device *old, struct lm_device *new)
{
    const struct lm_args *args = life->args;
    unsigned given = 0;
    int exit = lm_fields_device(args, new, &given);
    if (exit == LM_EXIT_OK)
        exit = lm_marks_from_stock(life->store, args, lm_arg(args, "strip"), new);
    if (exit == LM_EXIT_OK)
        exit = same_code(args, old, new);
    if (exit != LM_EXIT_OK)
        return exit;
    if (new->eid.known == LM_EID_NONE &&new->visual[0] == '\0' && new->uid[0] == '\0')
        return lm_usage(args, _("give the new device: --eid, --visual, --strip or --retag-counter; "
                                "without one, lugmark remove"));
    inherit(args, old, new);
    if (new->applied.year == 0)
        new->applied = life->date;
    if (lm_life_future(new->applied))
        return lm_fail(LM_EXIT_INPUT, NULL, _("--applied lies in the future"));
    return LM_EXIT_OK;
}

static int say(struct lm_life *life, const struct lm_device *old, const struct lm_device *new)
{
    char a[512], b[512];
    if (lm_arg_given(life->args, "json"))
        return lm_life_show(life->args, life->rec);
    printf(_("%s: %s\n  was %s (%s)\n"), life->rec->key, lm_device_words(new, a, sizeof a),
        lm_device_words(old, b, sizeof b), old->why);
    return LM_EXIT_OK;
}

static int retag(struct lm_life *life)
{
    struct lm_record *rec = life->rec;
    struct lm_warnings warnings = {.args = life->args};
    int exit = lm_life_animal(life, life->args->rest[0]);
    if (exit != LM_EXIT_OK)
        return exit;
    if (rec->status != LM_ON_FARM)
        return lm_fail(LM_EXIT_INPUT, _("correct its status first"), "animal %s is %s", rec->key,
            lm_status_name((enum lm_status) rec->status));
    const char *which = lm_arg(life->args, "old");
    struct lm_device *old = lm_device_left_open(rec, which);
    if (old == NULL)
        old = lm_device_pick(rec, which, &exit);
    struct lm_device *new = old != NULL ? lm_device_more(rec, &exit) : NULL;
    if (new == NULL)
        return exit;
    exit = make_new(life, old, new);
    if (exit == LM_EXIT_OK && !old->gone) /* else why and when are written down already */
        exit = lm_device_remove(rec, old, lm_arg(life->args, "reason"), life->date);
    new->replaces = (uint8_t) (old - rec->devices + 1);
    if (exit == LM_EXIT_OK)
        exit = lm_marks_check(life->store, rec->key, new, &warnings);
    if (exit == LM_EXIT_OK)
        exit = lm_warnings_end(&warnings);
    if (exit == LM_EXIT_OK)
        exit = lm_life_put(life);
    if (exit == LM_EXIT_OK)
        exit = lm_life_keep(life);
    return exit == LM_EXIT_OK ? say(life, old, new) : exit;
}

static int run(const struct lm_args *args)
{
    struct lm_life life;
    char more[100], clean[80];
    const char *reason = lm_arg(args, "reason");
    if (reason == NULL)
        return lm_usage(args, "say why: --reason lost (or " LM_REMOVE_REASONS ")");
    snprintf(more, sizeof more, "(%s)", lm_clean(clean, sizeof clean, reason));
    int exit = lm_life_begin(&life, args, "retagged", more);
    if (exit == LM_EXIT_OK)
        exit = retag(&life);
    return lm_life_end(&life, exit);
}

static const struct lm_option options[] = {
    {"old", 0, "WHICH", "its code or number, or last: the one put on last (default: the only one)"},
    {"reason", 0, "TEXT", LM_REMOVE_REASONS},
    {"strip", 0, "STRIP", "the new device is the next one of this strip of the stock"},
    {"retag-counter", 0, "N", "the new device has the old code and this retagging counter"},
    LM_DEVICE_OPTIONS,
    LM_WARN_OPTIONS,
    LM_LIFE_OPTIONS,
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_retag = {
    .name = "retag",
    .group = LM_GROUP_REGISTER,
    .summary = N_("Enter a new device in the place of an old one"),
    .arguments = "ANIMAL",
    .details =
        "The old device is kept with the date and the reason, and the new one names it. Form,\n"
        "place, colour and whether it is official are as before where nothing is said. A\n"
        "management number may be printed again: give the old number as --visual. An\n"
        "official device may come again with the same code and a higher retagging counter;\n"
        "which replacement is allowed, your animal-health authority decides. A device that\n"
        "was entered as removed before is linked to the one that follows it now.",
    .example = "lugmark retag A17 --old 0417 --reason lost --visual 0417 --eid 999000000012399\n"
               "lugmark retag A17 --old last --reason unreadable --retag-counter 1 --visual 0417",
    .options = options,
    .min_rest = 1,
    .max_rest = 1,
    .run = run,
};
