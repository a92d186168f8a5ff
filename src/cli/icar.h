/* The parts of export and import that speak ICAR animal data exchange. */
#ifndef LUGMARK_CLI_ICAR_H
#define LUGMARK_CLI_ICAR_H

#include "command.h"

/** export --format icar. @return enum lm_exit. */
int lm_export_icar(const struct lm_args *args);

/** import --format icar. @param[in] name  For messages. @return enum lm_exit. */
int lm_import_icar(const struct lm_args *args, FILE *in, const char *name);

#endif
