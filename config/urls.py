from django.contrib import admin
from django.contrib.auth import views as auth_views
from django.urls import include, path
from django.views.generic import RedirectView

from config.running.views import running
from config.sign_in import SignIn
from config.views import home

urlpatterns = [
    path("", home, name="home"),
    path("sign-in/", SignIn.as_view(), name="login"),
    path("sign-out/", auth_views.LogoutView.as_view(), name="logout"),
    path("running/", running, name="running"),
    # The administrator comes in by the same door as everybody.
    path(
        "admin/login/",
        RedirectView.as_view(pattern_name="login", query_string=True),
        name="admin_sign_in",
    ),
    path("admin/", admin.site.urls),
    path("", include("cells.urls")),
    path("", include("maintenance.urls")),
    path("", include("oee.urls")),
]

handler400 = "config.views.bad_request"
handler500 = "config.views.server_error"
