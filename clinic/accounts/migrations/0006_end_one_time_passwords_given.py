"""One-time passwords given before they had an end get one."""

from django.db import migrations

# Who was given a one-time password before has the time from now on that is given from now on.
END_THOSE_GIVEN = """
UPDATE accounts_user SET one_time_until = now() + interval '72 hours'
WHERE must_choose_password AND (
  last_login IS NULL OR 'password_renewed' = (
    SELECT verb FROM accounts_accountevent
    WHERE about_id = accounts_user.id AND verb IN ('password_renewed', 'password_chosen')
    ORDER BY id DESC LIMIT 1
  )
)
"""


class Migration(migrations.Migration):
    dependencies = [("accounts", "0005_one_time_passwords_end_and_edits_are_kept")]

    operations = [migrations.RunSQL(END_THOSE_GIVEN, migrations.RunSQL.noop)]
