/* lugmark split: a device that was entered on one animal but is on another. */
#include "command.h"

#include <stdlib.h>
#include <string.h>

#include "device_pick.h"
#include "fields.h"
#include "kin.h"
#include "life.h"
#include "open_db.h"
#include "problem.h"
#include "report/tongue.h"

/* The links of the devices that stay, once the one at @p at is gone from the list. */
static void take_out(struct lm_record *rec, unsigned at)
{
    for (unsigned i = 0; i < rec->n_devices; i++) {
        uint8_t *replaces = &rec->devices[i].replaces;
        if (*replaces == at + 1)
            *replaces = 0;
        else if (*replaces > at + 1)
            (*replaces)--;
    }
    memmove(&rec->devices[at], &rec->devices[at + 1],
        (rec->n_devices - at - 1u) * sizeof rec->devices[0]);
    rec->n_devices--;
}

static int make_new(struct lm_life *life, struct lm_record *new, const struct lm_device *device)
{
    const char *key = lm_arg(life->args, "new");
    const struct lm_record *old = life->rec;
    if (!lm_text_copy(new->key, sizeof new->key, key, strlen(key)) || new->key[0] == '\0')
        return lm_fail(LM_EXIT_INPUT, "at most 63 bytes of plain text", "--new cannot be that");
    memcpy(new->species, old->species, sizeof new->species);
    memcpy(new->mob, old->mob, sizeof new->mob);
    new->devices[0] = *device;
    new->devices[0].replaces = 0;
    new->n_devices = 1;
    return lm_fields_animal(life->args, new, NULL);
}

static int refuse_known(struct lm_life *life, const char *key, struct lm_record *room)
{
    enum lm_err err = lm_store_get(life->store, key, room);
    if (err == LM_OK)
        return lm_fail(LM_EXIT_INPUT, "choose another --new", "there is an animal %s already", key);
    return err == LM_ENOTFOUND ? LM_EXIT_OK : lm_db_fail(life->store);
}

static int split(struct lm_life *life, struct lm_record *new)
{
    struct lm_record *rec = life->rec;
    int exit = lm_life_animal(life, life->args->rest[0]);
    if (exit != LM_EXIT_OK)
        return exit;
    struct lm_device *device = lm_device_pick(rec, lm_arg(life->args, "device"), &exit);
    if (device == NULL)
        return exit;
    exit = refuse_known(life, lm_arg(life->args, "new"), new);
    memset(new, 0, sizeof *new);
    if (exit == LM_EXIT_OK)
        exit = make_new(life, new, device);
    if (exit != LM_EXIT_OK)
        return exit;
    take_out(rec, (unsigned) (device - rec->devices));
    const struct lm_record *both[] = {rec, new};
    if (lm_store_change(life->store, both, 2, lm_now_ms(), life->why, NULL) != LM_OK)
        return lm_db_fail(life->store);
    exit = lm_kin_check(life->store, new->key);
    if (exit == LM_EXIT_OK)
        exit = lm_life_keep(life);
    if (exit == LM_EXIT_OK)
        exit = lm_life_show(life->args, rec);
    return exit == LM_EXIT_OK ? lm_life_show(life->args, new) : exit;
}

static int run(const struct lm_args *args)
{
    struct lm_life life;
    char more[128], clean[90];
    if (lm_arg(args, "device") == NULL || lm_arg(args, "new") == NULL)
        return lm_usage(args, "say which device, and what the other animal is called: --device "
                              "CODE --new KEY");
    snprintf(more, sizeof more, "(a device is on %s)",
        lm_clean(clean, sizeof clean, lm_arg(args, "new")));
    int exit = lm_life_begin(&life, args, "split", more);
    struct lm_record *new = calloc(1, sizeof *new);
    if (new == NULL)
        exit = lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    if (exit == LM_EXIT_OK && new != NULL)
        exit = split(&life, new);
    free(new);
    return lm_life_end(&life, exit);
}

static const struct lm_option options[] = {
    {"device", 0, "WHICH", "code or number of the device that is on another animal, or last"},
    {"new", 0, "KEY", "what the other animal is called from now on"},
    LM_ANIMAL_OPTIONS,
    LM_LIFE_OPTIONS,
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_split = {
    .name = "split",
    .group = LM_GROUP_REGISTER,
    .summary = N_("Make two animals of one entry"),
    .arguments = "ANIMAL",
    .details = "The device goes to the new entry, as if it had always been there; species and mob\n"
               "are those of the old one where nothing else is said.",
    .example = "lugmark split A17 --device 999000000012399 --new A94 --sex doe --born 2025",
    .options = options,
    .min_rest = 1,
    .max_rest = 1,
    .run = run,
};
