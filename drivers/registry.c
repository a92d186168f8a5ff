/** @file registry.c
 * Drivers and decoders by name, and the words for what they reject.
 */
#include <string.h>

#include "lugmark/driver.h"
#include "list.h"

#define TABLE_OF_DRIVER(name) &lm_driver_##name,
#define TABLE_OF_DECODER(name) &lm_decoder_##name,
#define WORD_OF(name) #name,

static const struct lm_driver_ops *const drivers[] = {LM_DRIVER_LIST(TABLE_OF_DRIVER) NULL};
static const struct lm_decoder_ops *const decoders[] = {LM_DECODER_LIST(TABLE_OF_DECODER) NULL};
static const char *const driver_names[] = {LM_DRIVER_LIST(WORD_OF) NULL};
static const char *const decoder_names[] = {LM_DECODER_LIST(WORD_OF) NULL};

const struct lm_driver_ops *lm_driver_find(const char *name)
{
    for (size_t i = 0; drivers[i] != NULL; i++) {
        if (strcmp(drivers[i]->name, name) == 0)
            return drivers[i];
    }
    return NULL;
}

const struct lm_decoder_ops *lm_decoder_find(const char *name)
{
    for (size_t i = 0; decoders[i] != NULL; i++) {
        if (strcmp(decoders[i]->name, name) == 0)
            return decoders[i];
    }
    return NULL;
}

const char *const *lm_driver_names(void)
{
    return driver_names;
}

const char *const *lm_decoder_names(void)
{
    return decoder_names;
}

const char *lm_setting_get(const struct lm_setting *settings, size_t n, const char *key)
{
    const char *value = NULL;
    for (size_t i = 0; i < n; i++) {
        if (strcmp(settings[i].key, key) == 0)
            value = settings[i].value;
    }
    return value;
}

const char *lm_reject_name(enum lm_reject reject)
{
    switch (reject) {
    case LM_REJECT_NO_CODE:
        return "no-code";
    case LM_REJECT_TWO_CODES:
        return "two-codes";
    case LM_REJECT_CHECK:
        return "check";
    case LM_REJECT_RANGE:
        return "range";
    case LM_REJECT_TOO_LONG:
        return "too-long";
    case LM_REJECT_SYNTAX:
        return "syntax";
    case LM_REJECT_NO_REPLY:
        return "no-reply";
    case LM_REJECTS:
        break;
    }
    return "unknown";
}
