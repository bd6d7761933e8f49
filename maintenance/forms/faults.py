"""A verb's refusal becomes the form's: each sentence at its field."""

from collections.abc import Callable

from django import forms
from django.core.exceptions import ValidationError


def accepted(form: forms.Form, act: Callable[[], object]) -> bool:
    """Do it; False if the verb refused, and the form then says why."""
    try:
        act()
    except ValidationError as error:
        if hasattr(error, "error_dict"):
            for field, faults in error.error_dict.items():
                form.add_error(field if field in form.fields else None, faults)
        else:
            form.add_error(None, error)
        return False
    return True
