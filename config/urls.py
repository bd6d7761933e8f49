from django.contrib import admin
from django.contrib.auth import views as auth_views
from django.urls import include, path

from config.running.views import running
from config.views import home

urlpatterns = [
    path("", home, name="home"),
    path("sign-in/", auth_views.LoginView.as_view(), name="login"),
    path("sign-out/", auth_views.LogoutView.as_view(), name="logout"),
    path("running/", running, name="running"),
    path("admin/", admin.site.urls),
    path("", include("cells.urls")),
    path("", include("maintenance.urls")),
    path("", include("oee.urls")),
]

handler400 = "config.views.bad_request"
handler500 = "config.views.server_error"
