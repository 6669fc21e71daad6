"""A one-time password has an end, and what an account said before an edit is kept.

Kept is what the clinic lead edits; no password, nor when it was used or ends, ever gets there.
"""

from django.db import migrations, models

NOT_KEPT = "password,last_login,must_choose_password,one_time_until"
ATTACH = f"""
CREATE TRIGGER audit_update_kept AFTER UPDATE ON accounts_user
  FOR EACH ROW WHEN (OLD.* IS DISTINCT FROM NEW.*)
  EXECUTE FUNCTION audit_keep_change('', '{NOT_KEPT}', '');
CREATE TRIGGER audit_delete_kept AFTER DELETE ON accounts_user
  FOR EACH ROW EXECUTE FUNCTION audit_keep_change('', '{NOT_KEPT}', '');
"""
DETACH = """
DROP TRIGGER audit_update_kept ON accounts_user;
DROP TRIGGER audit_delete_kept ON accounts_user;
"""


class Migration(migrations.Migration):
    dependencies = [
        ("accounts", "0004_sign_in"),
        ("audit", "0004_keep_what_was_there_before"),
    ]

    operations = [
        migrations.AlterModelOptions(
            name="user",
            options={"ordering": ["display_name"], "verbose_name": "account"},
        ),
        migrations.AddField(
            model_name="user",
            name="one_time_until",
            field=models.DateTimeField(editable=False, null=True),
        ),
        migrations.AddConstraint(
            model_name="user",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("one_time_until", None), ("must_choose_password", True), _connector="OR"
                ),
                name="own_password_has_no_end",
            ),
        ),
        migrations.AlterField(
            model_name="accountevent",
            name="verb",
            field=models.CharField(
                choices=[
                    ("password_chosen", "Chose a new password"),
                    ("password_renewed", "Made a one-time password"),
                    ("second_factor_set", "Set up the second step"),
                    ("second_factor_off", "Turned the second step off"),
                    ("second_factor_reset", "Reset the second step"),
                    ("codes_renewed", "Made new recovery codes"),
                    ("code_used", "Signed in with a recovery code"),
                    ("sign_in_ended", "Ended a sign-in"),
                    ("sign_ins_ended", "Ended all other sign-ins"),
                    ("unlocked", "Lifted a lock"),
                    ("details_edited", "Edited the details"),
                ],
                max_length=24,
            ),
        ),
        migrations.RunSQL(ATTACH, DETACH),
    ]
