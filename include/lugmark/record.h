/** @file record.h
 * An animal and its devices, as the register keeps them and as every file format carries them.
 *
 * Plain values of fixed size: nothing to free, safe to copy. All text is clean UTF-8 (text.h).
 */
#ifndef LUGMARK_RECORD_H
#define LUGMARK_RECORD_H

#include "lugmark/eid.h"
#include "lugmark/text.h"
#include "lugmark/time.h"

#define LM_DEVICES_MAX 48u /**< devices of one animal, removed ones included; a life's worth */

enum lm_sex { LM_SEX_UNKNOWN, LM_SEX_FEMALE, LM_SEX_MALE };

enum lm_status { LM_ON_FARM, LM_SOLD, LM_DEAD, LM_SLAUGHTERED, LM_LOST };

/** Form of a device. Words in files: `flag tag`, `button tag`, and so on. */
enum lm_device_form {
    LM_DEVICE_UNKNOWN,
    LM_FLAG_TAG,
    LM_BUTTON_TAG,
    LM_LOOP_TAG,
    LM_BOLUS,
    LM_INJECTABLE,
    LM_LEG_BAND,
    LM_TATTOO
};

/** Place on the body. Words in files: `left ear`, `right ear`, `rumen`, `leg`, `tail web`. */
enum lm_place { LM_PLACE_UNKNOWN, LM_LEFT_EAR, LM_RIGHT_EAR, LM_RUMEN, LM_LEG, LM_TAIL_WEB };

/** One physical means of identification. It carries a code, a visual number, or both. */
struct lm_device {
    int64_t id; /**< row in the register, 0 when it is in none */
    struct lm_eid eid;
    char visual[LM_VISUAL_MAX + 1];
    char colour[LM_NAME_MAX + 1];
    char uid[24];              /**< UID of a 13.56 MHz chip in upper-case hex, or empty */
    char why[LM_NAME_MAX + 1]; /**< why it was removed, or empty */
    struct lm_date applied;
    struct lm_date removed; /**< no date while it is worn, unless `gone` */
    uint8_t form;           /**< enum lm_device_form */
    uint8_t place;          /**< enum lm_place */
    bool official;          /**< false: a management device */
    bool gone;              /**< removed; the date may be unknown */
    uint8_t replaces;       /**< place in the animal's list, from 1, of the device that this one
                               was put on for; 0 for none */
};

/** One animal with its devices, removed ones included, in the order they were recorded. */
struct lm_record {
    char key[LM_NAME_MAX + 1]; /**< the register's own name for the animal, unique, never empty */
    char species[LM_NAME_MAX + 1];
    char breed[LM_NAME_MAX + 1];
    char dam[LM_NAME_MAX + 1]; /**< key of the dam, which need not be in the register */
    char sire[LM_NAME_MAX + 1];
    char mob[LM_NAME_MAX + 1];
    struct lm_date born;
    struct lm_date status_date;
    uint8_t sex; /**< enum lm_sex */
    bool castrated;
    uint8_t status; /**< enum lm_status */
    uint8_t n_devices;
    bool struck; /**< the entry counts no more: it was taken back, or merged into another animal's.
                    Only its history is left; lm_store_each() and its like never give it. */
    char merged_into[LM_NAME_MAX + 1]; /**< key of that animal, or empty */
    struct lm_device devices[LM_DEVICES_MAX];
};

/** Names as written in files; never NULL, "" for the unknown value. */
const char *lm_sex_name(enum lm_sex sex);
const char *lm_status_name(enum lm_status status);
const char *lm_device_form_name(enum lm_device_form form);
const char *lm_place_name(enum lm_place place);

/**
 * Parse a word as people write it: case, `-`, `_` and blank are the same; common words of the trade
 * are taken too (doe, ewe, nanny; buck, ram, billy; alive, died, culled; left, right).
 * An empty word is the unknown value, and `on-farm` for a status.
 * @return LM_OK, or LM_EFRAME for a word that is not known.
 */
enum lm_err lm_sex_parse(const char *word, enum lm_sex *sex, bool *castrated);
enum lm_err lm_status_parse(const char *word, enum lm_status *status);
enum lm_err lm_device_form_parse(const char *word, enum lm_device_form *form);
enum lm_err lm_place_parse(const char *word, enum lm_place *place);

#endif
