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
        migrations.RunSQL(ATTACH, DETACH),
    ]
