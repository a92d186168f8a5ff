/** @file roll_priv.h
 * Inside of a roll. Rows are small so that a million animals fit; equal codes and equal numbers are
 * chained, so that a register where every number is the same costs no more than any other.
 */
#ifndef LM_RACE_ROLL_PRIV_H
#define LM_RACE_ROLL_PRIV_H

#include "lugmark/roll.h"
#include "race/arena.h"

#define LM_NO_ROW UINT32_MAX

struct animal_row {
    uint32_t key, species, breed, mob, dam; /**< arena offsets */
    uint32_t first; /**< its first device row; those of UIDs alone follow its n_devices */
    struct lm_date born;
    uint8_t n_devices, sex, status;
    uint8_t castrated : 1, expected : 1;
    uint8_t n_uids : 6; /**< hidden rows: they are found by a look-up and listed nowhere */
};

struct device_row {
    uint64_t bits;
    uint32_t animal; /**< LM_NO_ANIMAL: an old entry of a replaced animal */
    uint32_t visual, colour;
    uint32_t fold_hash;              /**< of the loosely folded number */
    uint32_t next_code, next_visual; /**< circular chains of equal codes and numbers */
    struct lm_date applied;
    uint8_t form, place;
    uint8_t known : 2, official : 1, gone : 1;
};

/** A device row that stands for nothing but the UID of the device before it. */
static inline bool lm_row_is_hidden(const struct device_row *d)
{
    return d->known == LM_EID_UID;
}

/**
 * Open-addressed table of row numbers + 1 (0: free); what is equal is decided by the row. Keeping
 * the hash in the slot was measured: no faster, and 24 MB more for a million animals.
 */
struct row_table {
    uint32_t *slots;
    uint32_t size, used; /**< size is a power of two */
};

enum lm_scope { SCOPE_ALL, SCOPE_MOB, SCOPE_KEYS };

struct lm_roll {
    struct lm_arena arena;
    struct animal_row *animals;
    struct device_row *devices;
    uint32_t n_animals, cap_animals, n_devices, cap_devices, n_expected;
    struct row_table by_key, by_code, by_visual; /**< codes and numbers: the tail of the chain */
    enum lm_scope scope;
    uint32_t scope_mob;
    uint32_t live_devices;
    bool loading;
    uint32_t load_animal, load_device; /**< first rows of the load that goes on */
};

/** Put all rows from these on into the indexes. @return LM_OK or LM_ENOMEM. */
enum lm_err lm_roll_index_from(struct lm_roll *roll, uint32_t animal, uint32_t device);
/** Put a device row into the indexes. @return LM_OK or LM_ENOMEM. */
enum lm_err lm_roll_index_device(struct lm_roll *roll, uint32_t row);
/** Put an animal row into the key index. @return LM_OK or LM_ENOMEM. */
enum lm_err lm_roll_index_key(struct lm_roll *roll, uint32_t row);
/** Tail of the chain of a code or a loosely folded number, or LM_NO_ROW. */
uint32_t lm_roll_code_tail(const struct lm_roll *roll, uint64_t key);
uint32_t lm_roll_visual_tail(const struct lm_roll *roll, const char *loose);
/** Whether an animal is in the scope that was set last. */
bool lm_roll_in_scope(const struct lm_roll *roll, const struct animal_row *a);

#endif
