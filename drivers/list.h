/** @file list.h
 * Every driver and decoder, in the order of their names. This list is the only place to add one to.
 *
 * Each line X(name) stands for a const table lm_driver_NAME or lm_decoder_NAME in drivers/NAME.c
 * whose `name` is the same word. The list is expanded here into declarations, so that a table is
 * checked against them where it is defined, and in registry.c into arrays.
 * The names are written in people's configurations: never rename one.
 */
#ifndef DRIVERS_LIST_H
#define DRIVERS_LIST_H

#include "lugmark/driver.h"

#define LM_DRIVER_LIST(X)                                                                          \
    X(nfc)                                                                                         \
    X(program)                                                                                     \
    X(replay)                                                                                      \
    X(serial)

#define LM_DECODER_LIST(X)                                                                         \
    X(frame)                                                                                       \
    X(telegram)                                                                                    \
    X(text)

#define LM_DECLARE_DRIVER(name) extern const struct lm_driver_ops lm_driver_##name;
#define LM_DECLARE_DECODER(name) extern const struct lm_decoder_ops lm_decoder_##name;
LM_DRIVER_LIST(LM_DECLARE_DRIVER)
LM_DECODER_LIST(LM_DECLARE_DECODER)
#undef LM_DECLARE_DRIVER
#undef LM_DECLARE_DECODER

#endif
