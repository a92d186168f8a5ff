/* lugmark tag: put a device on an animal, most often a new-born one. */
#include "tag.h"

#include <stdlib.h>
#include <string.h>

#include "device_pick.h"
#include "fields.h"
#include "kin.h"
#include "lugmark/markplan.h"
#include "marks.h"
#include "new_animal.h"
#include "open_db.h"
#include "problem.h"
#include "report/tongue.h"

/* The device from options, reader and supply list. */
static int make_device(struct lm_life *life, const struct lm_eid *scanned, struct lm_device *device)
{
    const struct lm_args *args = life->args;
    unsigned given = 0;
    int exit = lm_fields_device(args, device, &given);
    if (exit == LM_EXIT_OK && scanned->known != LM_EID_NONE) {
        if (device->eid.known != LM_EID_NONE)
            return lm_usage(args, "--scan and --eid both give the code");
        device->eid = *scanned;
    }
    if (exit == LM_EXIT_OK)
        exit = lm_marks_from_stock(life->store, args, lm_arg(args, "strip"), device);
    if (exit != LM_EXIT_OK)
        return exit;
    if (device->eid.known == LM_EID_NONE && device->visual[0] == '\0' && device->uid[0] == '\0')
        return lm_usage(args, _("say which device: --strip, --scan, --eid, --visual or --uid"));
    if (device->applied.year == 0)
        device->applied = life->date;
    return LM_EXIT_OK;
}

/* Where nothing was said the holding's plan is taken; where something else was, it is noted. */
static int follow_plan(struct lm_life *life, struct lm_device *device)
{
    struct lm_record *rec = life->rec;
    struct lm_mark_for whom = {rec->born, (enum lm_sex) rec->sex, rec->breed};
    char should[LM_PLAN_TEXT_MAX], words[2 * LM_PLAN_TEXT_MAX];
    struct lm_markplan *plan = calloc(1, sizeof *plan);
    if (plan == NULL)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    if (lm_markplan_load(life->store, plan) != LM_OK) {
        free(plan);
        return lm_db_fail(life->store);
    }
    struct lm_mark mark = lm_markplan_for(plan, &whom);
    if (device->form == LM_DEVICE_UNKNOWN)
        device->form = mark.form;
    if (device->place == LM_PLACE_UNKNOWN && device->form <= LM_LOOP_TAG)
        device->place = mark.place;
    if (device->colour[0] == '\0' && device->form <= LM_LOOP_TAG)
        snprintf(device->colour, sizeof device->colour, "%s", mark.colour);
    struct lm_mark_worn worn = {
        device->visual, device->colour, device->form, device->place, device->official};
    if (lm_markplan_differs(plan, &whom, &worn, 1, should))
        fprintf(stderr, _("lugmark: note: by the marking plan it should wear: %s\n"),
            lm_tongue_list(should, words, sizeof words));
    free(plan);
    return LM_EXIT_OK;
}

static int say(struct lm_life *life, const struct lm_device *device)
{
    char code[LM_EID_TEXT_SIZE];
    if (!lm_arg_given(life->args, "json") && device->eid.known != LM_EID_NONE)
        printf(_("number %s and code %s: tagged\n"),
            device->visual[0] != '\0' ? device->visual : _("(none)"),
            lm_eid_format(device->eid, code));
    return lm_life_show(life->args, life->rec);
}

/* Everything odd is said before anything is written. */
static int check(struct lm_life *life, struct lm_device *device)
{
    struct lm_warnings warnings = {.args = life->args};
    int exit = lm_tag_check_kid(life, life->rec, device, &warnings);
    if (exit == LM_EXIT_OK)
        exit = lm_marks_check(life->store, life->rec->key, device, &warnings);
    return exit == LM_EXIT_OK ? lm_warnings_end(&warnings) : exit;
}

static int tag_new(struct lm_life *life, const struct lm_eid *scanned)
{
    struct lm_record *rec = life->rec;
    struct lm_device *device = &rec->devices[0];
    int exit = lm_fields_animal(life->args, rec, NULL);
    if (exit == LM_EXIT_OK)
        exit = make_device(life, scanned, device);
    if (exit == LM_EXIT_OK)
        exit = lm_new_animal_key(life->args, rec);
    if (exit == LM_EXIT_OK)
        exit = follow_plan(life, device);
    if (exit == LM_EXIT_OK)
        exit = check(life, device);
    if (exit != LM_EXIT_OK)
        return exit;
    rec->n_devices = 1;
    exit = lm_new_animal_put(life->store, rec, life->why);
    if (exit == LM_EXIT_OK)
        exit = lm_life_keep(life);
    return exit == LM_EXIT_OK ? say(life, device) : exit;
}

static int tag_known(struct lm_life *life, const struct lm_eid *scanned)
{
    struct lm_record *rec = life->rec;
    int exit = lm_life_animal(life, life->args->rest[0]);
    if (exit == LM_EXIT_OK)
        exit = lm_fields_animal(life->args, rec, NULL);
    if (exit != LM_EXIT_OK)
        return exit;
    if (rec->status != LM_ON_FARM)
        return lm_fail(LM_EXIT_INPUT, _("correct its status first"), "animal %s is %s", rec->key,
            lm_status_name((enum lm_status) rec->status));
    struct lm_device *device = lm_device_more(rec, &exit);
    if (device == NULL)
        return exit;
    exit = make_device(life, scanned, device);
    if (exit == LM_EXIT_OK)
        exit = follow_plan(life, device);
    if (exit == LM_EXIT_OK)
        exit = check(life, device);
    if (exit == LM_EXIT_OK)
        exit = lm_life_put(life);
    if (exit == LM_EXIT_OK)
        exit = lm_kin_check(life->store, rec->key);
    if (exit == LM_EXIT_OK)
        exit = lm_life_keep(life);
    return exit == LM_EXIT_OK ? say(life, device) : exit;
}

/* --uid alone, for a device that is worn already. */
static bool is_chip(const struct lm_args *args)
{
    static const char *const others[] = {"scan", "strip", "place", "form", "colour", "official",
        "applied", "born", "sex", "dam", "animal", "date"};
    for (size_t i = 0; i < sizeof others / sizeof *others; i++)
        if (lm_arg_given(args, others[i]))
            return false;
    return lm_arg_given(args, "new") || (lm_arg_given(args, "uid") && args->n_rest == 1);
}

static int run(const struct lm_args *args)
{
    struct lm_life life;
    struct lm_eid scanned = {0};
    if (args->n_rest == 1 && lm_arg_given(args, "animal"))
        return lm_usage(args, "ANIMAL is in the register already, --animal names a new one");
    if (is_chip(args))
        return args->n_rest == 1 ? lm_tag_chip(args)
                                 : lm_usage(args, _("an argument is missing: ANIMAL"));
    if (lm_arg_given(args, "scan")) {
        int exit = lm_tag_scan(args, &scanned); /* before the register is locked: it takes time */
        if (exit != LM_EXIT_OK)
            return exit;
    }
    int exit = lm_life_begin(&life, args, "tagged", NULL);
    if (exit == LM_EXIT_OK)
        exit = lm_tag_cautions(&life);
    if (exit == LM_EXIT_OK)
        exit = args->n_rest == 1 ? tag_known(&life, &scanned) : tag_new(&life, &scanned);
    return lm_life_end(&life, exit);
}

static const struct lm_option options[] = {
    {"animal", 0, "KEY", "what a new animal is called (default: its number, else its code)"},
    {"strip", 0, "STRIP", "the next device of this strip of the stock"},
    {"scan", 0, NULL, "the tag that a reader of the daemon reads next"},
    {"timeout", 0, "SECONDS", "how long to wait for it (default 60)"},
    LM_ANIMAL_OPTIONS,
    LM_DEVICE_OPTIONS,
    {"new", 0, "FORM", "with --uid: the chip is in a management device put on today"},
    LM_WARN_OPTIONS,
    {"allow-late", 0, NULL, "though the kid is older than a week"},
    {"allow-dam", 0, NULL, "though the dam is odd or not in the register"},
    {"allow-future", 0, NULL, "though it was put on before the birth"},
    {"quiet-cautions", 0, NULL, "leave the day's reminder out"},
    LM_LIFE_OPTIONS,
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_tag = {
    .name = "tag",
    .group = LM_GROUP_REGISTER,
    .summary = N_("Put a device on an animal, most often a new-born one"),
    .arguments = "[ANIMAL]",
    .details =
        "Without ANIMAL a new one is entered. Number and code come from the next device of\n"
        "the strip, from the reader, or are given; the supply list adds what it knows, the\n"
        "marking plan what is left. Everything odd is said, and then nothing is written: exit 1,\n"
        "unless --yes or the --allow option named goes with it.\n"
        "With ANIMAL and --uid alone: which chip (a tag for telephones, 13.56 MHz) is in a device\n"
        "that it wears; --visual or --eid say which device, --new that it is a new one.",
    .example = "lugmark tag --strip 2026-a --dam A17 --sex female --born 2026-03-28 --mob kids\n"
               "lugmark tag A17 --eid 999000000012399 --visual 0417 --place \"left ear\"\n"
               "lugmark tag A17 --uid 04A1B2C3D4E5F6",
    .options = options,
    .max_rest = 1,
    .run = run,
};
