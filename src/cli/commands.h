/* Every command, one line each, in the order of the help. A command is one file, src/cli/NAME.c,
 * that defines `const struct lm_command lm_command_NAME`; adding a line here is all it takes to
 * give it a parser, --help and a place in the list. A '-' in its name is a '_' here. */
#ifdef LM_COMMAND
LM_COMMAND(init)
LM_COMMAND(import)
LM_COMMAND(export)
LM_COMMAND(find)
LM_COMMAND(show)
LM_COMMAND(add)
LM_COMMAND(edit)
LM_COMMAND(tag)
LM_COMMAND(backup)
LM_COMMAND(verify)
LM_COMMAND(open)
LM_COMMAND(saw)
LM_COMMAND(head)
LM_COMMAND(undo)
LM_COMMAND(close)
LM_COMMAND(status)
LM_COMMAND(watch)
LM_COMMAND(readers)
LM_COMMAND(rehearse)
LM_COMMAND(findings)
LM_COMMAND(reconcile)
LM_COMMAND(decode)
#endif
